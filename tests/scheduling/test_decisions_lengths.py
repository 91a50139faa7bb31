"""The hollow area was twice as large: the office hears that the plan gives chip and prep too few hours."""

import datetime as dt

import pytest

from jobs.models import ExpectedDates, Job
from scheduling.models import Shift, Stint, StintState
from scheduling.selectors.decision_facts import decision_facts
from scheduling.selectors.decision_kinds import KINDS
from scheduling.selectors.decisions import Decision, decisions
from scheduling.selectors.decisions_lengths import LENGTH_KINDS
from shared import clock
from shared.tenancy.context import acting_for
from tests.cast import Cast
from tests.scheduling.office import office, planned_job, text_of


@pytest.fixture
def job(cast: Cast) -> Job:
    """Chip and prep of 60 half-hours of one person is in the plan."""
    return planned_job(cast, "Site 07")


def prep(cast: Cast, job: Job) -> Stint:
    with acting_for(cast.own.contractor.pk):
        return Stint.objects.select_related("crew", "job__site").get(job=job, key="prep")


def needs(cast: Cast, job: Job, half_hours: int) -> None:
    """Person-half-hours of the scope from now on."""
    with acting_for(cast.own.contractor.pk):
        row = ExpectedDates.objects.get(job=job)
        row.rows["lengths"]["prep_work"] = half_hours
        row.save(update_fields=["rows"])


def lines(cast: Cast) -> list[Decision]:
    with acting_for(cast.own.contractor.pk):
        return decisions(decision_facts(cast.own.contractor, clock.now()), LENGTH_KINDS)


def test_a_fresh_plan_gives_enough_hours(cast: Cast, job: Job):
    assert lines(cast) == []
    assert set(LENGTH_KINDS) <= set(KINDS)


def test_twice_the_work_is_said_with_the_hours_that_are_missing(cast: Cast, job: Job):
    stint = prep(cast, job)
    needs(cast, job, 120)
    (line,) = lines(cast)
    hours = 120 / stint.crew.people / 2
    assert line.risk.startswith(f"Chip and prep at Site 07 takes {hours:.0f} h of its crew; the plan gives it ")
    assert line.until == stint.starts
    assert line.risk in text_of(office(cast).get("/"))


def test_nights_and_days_off_within_a_stint_are_no_hours(cast: Cast, job: Job):
    """From 15:00 one day to 9:00 on the next: two hours before the evening at 17:00, and one after 8:00."""
    stint = prep(cast, job)
    zone = stint.job.site.tz
    day = stint.starts.astimezone(zone).replace(hour=15, minute=0)
    with acting_for(cast.own.contractor.pk):
        Shift.objects.filter(crew=stint.crew).delete()
        for after in (0, 1):
            weekday = (day.date() + dt.timedelta(days=after)).weekday()
            Shift.objects.create(crew=stint.crew, weekday=weekday, from_min=8 * 60, to_min=17 * 60)
        Stint.objects.filter(pk=stint.pk).update(starts=day, ends=day + dt.timedelta(hours=18))
    needs(cast, job, 12 * stint.crew.people)
    (line,) = lines(cast)
    assert line.risk == "Chip and prep at Site 07 takes 6 h of its crew; the plan gives it 3 h."


@pytest.mark.parametrize("state", [StintState.BEGUN, StintState.DONE, StintState.DROPPED])
def test_work_that_has_begun_or_is_over_is_left_alone(cast: Cast, job: Job, state: str):
    needs(cast, job, 240)
    with acting_for(cast.own.contractor.pk):
        Stint.objects.filter(pk=prep(cast, job).pk).update(state=state)
    assert lines(cast) == []


def test_a_little_more_work_is_made_up_on_the_day(cast: Cast, job: Job):
    needs(cast, job, 63)
    assert lines(cast) == []
