"""A pool that was full on another day than planned: the office hears which visits of its first month are off."""

import datetime as dt

import pytest

from jobs.models import Job, JobState
from scheduling.selectors.decision_facts import decision_facts
from scheduling.selectors.decision_kinds import KINDS
from scheduling.selectors.decisions import Decision, decisions
from scheduling.selectors.decisions_visits import VISIT_KINDS
from shared import clock
from shared.tenancy.context import acting_for
from tests.cast import Cast, propose
from tests.scheduling.office import office, text_of
from tests.scheduling.on_site import TODAY, at, job_under_way, on_day, set_state, stint_at


@pytest.fixture
def full(cast: Cast) -> Job:
    """Full today; visits of days 1 and 14."""
    with on_day(6):
        job = job_under_way(cast.own)
        set_state(job, cast.own, state=JobState.FIRST_MONTH, filled_on=TODAY)
    return job


def visit(cast: Cast, job: Job, number: int, after: int) -> None:
    day = TODAY + dt.timedelta(days=after)
    stint_at(job, cast.own, "start_up", at(9, day), at(10, day), key=f"startup_{number}", plan=_plan(cast))


def _plan(cast: Cast):
    with acting_for(cast.own.contractor.pk):
        return propose(cast.own)


def lines(cast: Cast) -> list[Decision]:
    with on_day(8), acting_for(cast.own.contractor.pk):
        return decisions(decision_facts(cast.own.contractor, clock.now()), VISIT_KINDS)


@pytest.mark.parametrize(("number", "after"), [(1, 1), (14, 13), (14, 14), (14, 15), (28, 26), (28, 30)])
def test_a_visit_within_its_days_is_no_decision(cast: Cast, full: Job, number: int, after: int):
    visit(cast, full, number, after)
    assert lines(cast) == []


@pytest.mark.parametrize(("number", "after"), [(1, 2), (2, 1), (14, 16), (28, 25), (28, 31)])
def test_a_visit_on_another_day_is_one(cast: Cast, full: Job, number: int, after: int):
    visit(cast, full, number, after)
    (line,) = lines(cast)
    assert line.risk == "1 visit of the first month at Site 01 is set for another day than its own."
    assert line.why == "The pool was full on Wednesday 15 April, not as planned."
    assert f"Day {number} is " in line.measure and cast.own.crews["water"].name in line.measure
    with on_day(8):
        assert line.risk in text_of(office(cast).get("/"))


def test_before_the_pool_is_full_days_are_only_planned(cast: Cast, full: Job):
    visit(cast, full, 1, 2)
    set_state(full, cast.own, state=JobState.FILLING, filled_on=None)
    assert lines(cast) == []
    assert set(VISIT_KINDS) <= set(KINDS)
