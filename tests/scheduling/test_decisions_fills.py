"""Water that runs, as the office must see it: the worst of what is known of a fill, in one line."""

import datetime as dt

import pytest

from jobs.models import Job, JobState, LogKind
from jobs.services.site_logs import log_take
from scheduling.models import Stage, Stint, StintState
from scheduling.selectors.decision_facts import decision_facts
from scheduling.selectors.decisions import Decision, decisions
from scheduling.selectors.decisions_fills import FILL_KINDS
from shared import clock
from shared.tenancy.context import acting_for
from tests.cast import Cast
from tests.scheduling.office import office, text_of
from tests.scheduling.on_site import at, job_under_way, new_id, on_day, set_state, stint_at


@pytest.fixture
def filling(cast: Cast) -> Job:
    """The water runs since 06:00; one hose of 45 L/min, measured; a crew from 22:00."""
    with on_day(5):
        job = job_under_way(cast.own)
        stint_at(job, cast.own, "fill_start", at(5), at(6), state="done", begun_at=at(5), done_at=at(6))
        stint_at(job, cast.own, "fill_end", at(22), at(29))
        set_state(job, cast.own, state=JobState.FILLING)
    return job


def line(cast: Cast, hour: float) -> Decision | None:
    with on_day(hour), acting_for(cast.own.contractor.pk):
        found = decisions(decision_facts(cast.own.contractor, clock.now()), FILL_KINDS)
    assert len(found) <= 1
    return found[0] if found else None


def kind(cast: Cast, hour: float) -> str:
    found = line(cast, hour)
    return found.kind if found else ""


def logged(cast: Cast, job: Job, hour: float, kind: str, **data: object) -> None:
    with acting_for(cast.own.contractor.pk):
        log_take(job, kind=kind, by=cast.own.crew_lead, at=at(hour), data=data, client_id=new_id())


def move_end(cast: Cast, job: Job, begin: float, end: float, state: str = StintState.ISSUED) -> None:
    with acting_for(cast.own.contractor.pk):
        Stint.objects.filter(job=job, key=Stage.FILL_END).update(starts=at(begin), ends=at(end), state=state)


def test_a_fill_that_runs_as_expected_needs_nobody(cast: Cast, filling: Job):
    assert line(cast, 7) is None


def test_a_fill_without_anybody_for_its_end_comes_before_all_else(cast: Cast, filling: Job):
    move_end(cast, filling, 22, 29, StintState.DROPPED)
    found = line(cast, 7)
    assert found is not None and found.kind == "fill_alone"
    assert "Full between" in found.measure and found.ways[0].is_form


def test_water_that_stands_is_to_be_started_again_at_once(cast: Cast, filling: Job):
    logged(cast, filling, 8, LogKind.HOSE, action="stopped", hoses=1)
    found = line(cast, 8.5)
    assert found is not None and found.kind == "fill_stands" and found.left_days < 0.1


def test_a_pool_that_may_be_full_before_anybody_comes_is_said(cast: Cast, filling: Job):
    """About 33 h of water: the early end is near 28 h after the start."""
    with on_day(7), acting_for(cast.own.contractor.pk):
        sheet = decision_facts(cast.own.contractor, clock.now()).fills[filling.pk]
    assert sheet.full is not None
    early = (sheet.full.p10 - at(0)) / dt.timedelta(hours=1)
    move_end(cast, filling, early + 3, early + 8)
    assert kind(cast, early + 1) == "fill_look"
    assert kind(cast, early + 3.1) != "fill_look"


def test_a_crew_that_comes_after_what_was_read_is_to_be_set_anew(cast: Cast, filling: Job):
    logged(cast, filling, 10, LogKind.LEVEL, below_full_mm=900)
    with on_day(10.1), acting_for(cast.own.contractor.pk):
        sheet = decision_facts(cast.own.contractor, clock.now()).fills[filling.pk]
    assert sheet.full is not None and sheet.doubted is None
    late = (sheet.full.p90 - at(0)) / dt.timedelta(hours=1)
    move_end(cast, filling, late, late + 5)
    found = line(cast, 10.2)
    assert found is not None and found.kind == "fill_late_crew" and found.ways[0].is_form
    said = text_of_page(cast, 10.2)
    assert "may end before its crew comes" in said


def text_of_page(cast: Cast, hour: float) -> str:
    with on_day(hour):
        return text_of(office(cast).get("/"))


def test_a_level_that_does_not_fit_the_flow_is_said(cast: Cast, filling: Job):
    logged(cast, filling, 8, LogKind.LEVEL, below_full_mm=50)
    assert kind(cast, 8.2) == "fill_doubted"


def test_a_fill_that_nobody_looked_at_for_long_is_said(cast: Cast, filling: Job):
    assert kind(cast, 20) == "fill_unread"


def test_a_crew_that_is_there_longer_than_planned_is_not_called_nobody(cast: Cast, filling: Job):
    move_end(cast, filling, 22, 29, StintState.BEGUN)
    assert kind(cast, 30) != "fill_alone"
    move_end(cast, filling, 22, 29)
    assert kind(cast, 30) == "fill_alone"
