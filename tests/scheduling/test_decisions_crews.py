"""Issued stints that their crew cannot work: absent, moved out of its hours, no longer with the firm."""

import datetime as dt

import pytest

from scheduling.models import Absence, Shift, Stint, StintState
from scheduling.selectors.decision_facts import decision_facts
from scheduling.selectors.decisions import Decision, decisions
from scheduling.selectors.decisions_crews import CREW_KINDS
from shared import clock
from shared.tenancy.context import acting_for
from tests.cast import Cast, propose
from tests.scheduling.office import office, planned_job, text_of


def lines(cast: Cast) -> list[Decision]:
    with acting_for(cast.own.contractor.pk):
        return decisions(decision_facts(cast.own.contractor, clock.now()), CREW_KINDS)


@pytest.fixture
def plaster(cast: Cast) -> Stint:
    job = planned_job(cast)
    with acting_for(cast.own.contractor.pk):
        found = Stint.objects.select_related("crew", "job__site").get(job=job, key="plaster")
    assert found.state == StintState.ISSUED
    return found


def local_day(stint: Stint) -> dt.date:
    return stint.starts.astimezone(stint.job.site.tz).date()


def absent(cast: Cast, stint: Stint, first: dt.date, last: dt.date, reason: str = "") -> None:
    with acting_for(cast.own.contractor.pk):
        Absence.objects.create(
            contractor=cast.own.contractor, crew=stint.crew, first_day=first, last_day=last, reason=reason
        )


def test_while_crews_keep_their_hours_nothing_is_said(cast: Cast, plaster: Stint):
    assert lines(cast) == []


def test_an_absence_on_the_day_of_an_issued_stint_is_a_decision(cast: Cast, plaster: Stint):
    day = local_day(plaster)
    absent(cast, plaster, day, day, "flu")
    (line,) = lines(cast)
    assert f"{plaster.crew.name} is not there for 1 issued stint." == line.risk
    assert "(flu)" in line.why and plaster.job.site.label in line.measure
    assert line.left_days == pytest.approx((plaster.starts - clock.now()) / dt.timedelta(days=1))
    said = text_of(office(cast).get("/"))
    assert line.risk in said


@pytest.mark.parametrize("shift", [-1, 1])
def test_an_absence_on_the_day_before_or_after_is_none(cast: Cast, plaster: Stint, shift: int):
    day = local_day(plaster) + dt.timedelta(days=shift)
    absent(cast, plaster, day, day)
    assert lines(cast) == []


def test_shifts_that_were_changed_under_an_issued_stint_are_a_decision(cast: Cast, plaster: Stint):
    with acting_for(cast.own.contractor.pk):
        Shift.objects.filter(crew=plaster.crew, weekday=local_day(plaster).weekday()).delete()
    (line,) = lines(cast)
    assert line.why == "It is outside its shifts now."


def test_a_crew_that_left_the_firm_is_a_decision(cast: Cast, plaster: Stint):
    with acting_for(cast.own.contractor.pk):
        plaster.crew.active = False
        plaster.crew.save()
    (line,) = lines(cast)
    assert line.why == "It does not work for the firm any more."


def test_a_fresh_proposal_answers_it(cast: Cast, plaster: Stint):
    day = local_day(plaster)
    absent(cast, plaster, day, day)
    propose(cast.own)
    assert lines(cast) == []
