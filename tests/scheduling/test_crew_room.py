"""Room of the crews for one job: shifts, less absences, quiet hours and what is issued to other jobs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.models import Job, Site
from jobs.timeline.crew_room import CrewRoom
from scheduling.models import Crew, Skill, Stage, Stint
from scheduling.selectors.crew_room import crew_room
from scheduling.selectors.crews import crews_at_work
from scheduling.services.crews import absence_note, crew_make, shifts_set
from scheduling.slots import DAY_SLOTS
from shared import clock
from shared.tenancy.context import acting_for
from tests.cast import Cast, expect, issue, open_job

MONDAY = dt.date(2026, 6, 1)
ZONE = ZoneInfo("America/New_York")
HORIZON = 13
WEEKDAYS = [(day, 8 * 60, 16 * 60) for day in range(5)]


@pytest.fixture
def job(cast: Cast) -> Job:
    found = open_job(cast.own, site={"quiet_until_min": 0, "quiet_from_min": 1440})
    with acting_for(cast.own.contractor.pk):
        for crew in cast.own.crews.values():
            shifts_set(crew, WEEKDAYS)
    return found


def room(job: Job, stints: Sequence[Stint] = (), crews: list[Crew] | None = None, first: dt.date = MONDAY) -> CrewRoom:
    return crew_room(job, crews_at_work() if crews is None else crews, stints, first, HORIZON)


def stint(crew: Crew, job: Job, day: int, start_h: float, hours: float) -> Stint:
    starts = dt.datetime.combine(MONDAY, dt.time(), ZONE) + dt.timedelta(days=day, hours=start_h)
    ends = starts + dt.timedelta(hours=hours)
    return Stint(crew=crew, job=job, stage=Stage.PREP, key="prep", starts=starts, ends=ends)


def water_hours(found: CrewRoom, day: int) -> list[float]:
    assert found.water is not None
    return [slot / 2 for slot in np.flatnonzero(found.water[day])]


def test_room_is_where_shifts_are(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        found = room(job)
    week = [True] * 5 + [False] * 2
    assert list(found.plaster) == week * 2
    assert [list(np.flatnonzero(day)) for day in found.prep] == [[*range(8, 16)] if works else [] for works in week * 2]
    assert water_hours(found, 0) == [8 + n / 2 for n in range(16)]
    assert water_hours(found, 5) == []
    assert (found.zone, found.first_day, found.horizon_day) == ("America/New_York", MONDAY, HORIZON)


def test_an_absence_takes_whole_days(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        first, last = MONDAY + dt.timedelta(days=1), MONDAY + dt.timedelta(days=2)
        absence_note(cast.own.crews["plaster"], first_day=first, last_day=last, reason="", by="test")
        found = room(job)
    assert list(found.plaster[:5]) == [True, False, False, True, True]
    assert water_hours(found, 1) == [8 + n / 2 for n in range(16)]  # another crew's


def test_a_stint_of_another_job_takes_its_half_hours_and_the_plaster_day(cast: Cast, job: Job):
    other = open_job(cast.own, label="Site 02")
    with acting_for(cast.own.contractor.pk):
        crews = {crew.skills[0]: crew for crew in crews_at_work()}
        busy = [stint(crews["water"], other, 0, 9.25, 1.0), stint(crews["plaster"], other, 1, 10.0, 0.5)]
        busy += [stint(crews["prep"], other, 2, 8.5, 1.0)]
        found = room(job, busy)
    assert water_hours(found, 0) == [8.0, 8.5, *(10.5 + n / 2 for n in range(11))]  # begun half-hours count whole
    assert list(found.plaster[:3]) == [True, False, True]  # a plaster day is never shared
    assert list(np.flatnonzero(found.prep[2])) == list(range(10, 16))  # both halves of an hour must be free


def test_a_plaster_day_is_not_lost_to_a_stint_outside_the_shift(cast: Cast, job: Job):
    other = open_job(cast.own, label="Site 02")
    with acting_for(cast.own.contractor.pk):
        crew = next(crew for crew in crews_at_work() if Skill.PLASTER in crew.skills)
        found = room(job, [stint(crew, other, 0, 17.0, 2.0)])
    assert found.plaster[0]


def test_stints_of_the_job_itself_take_nothing(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        crew = next(crew for crew in crews_at_work() if Skill.PLASTER in crew.skills)
        assert room(job, [stint(crew, job, 0, 8.0, 8.0)]).plaster[0]


def test_a_stint_that_began_before_day_0_takes_the_rest_of_it(cast: Cast, job: Job):
    other = open_job(cast.own, label="Site 02")
    with acting_for(cast.own.contractor.pk):
        crew = next(crew for crew in crews_at_work() if Skill.WATER in crew.skills)
        found = room(job, [stint(crew, other, -1, 20.0, 14.0), stint(crew, other, -3, 8.0, 8.0)])
    assert water_hours(found, 0) == [10 + n / 2 for n in range(12)]


def test_a_second_crew_adds_its_room(cast: Cast, job: Job):
    other = open_job(cast.own, label="Site 02")
    with acting_for(cast.own.contractor.pk):
        crew_make(
            name="evening crew",
            skills=["water", "plaster"],
            people=3,
            latitude=36.0,
            longitude=-79.8,
            shifts=[(0, 14 * 60, 22 * 60)],
            by="test",
        )
        water = next(crew for crew in crews_at_work() if crew.skills == ["water"])
        plaster = next(crew for crew in crews_at_work() if crew.skills == ["plaster"])
        found = room(job, [stint(plaster, other, 0, 8.0, 8.0), stint(water, other, 1, 8.0, 8.0)])
    assert water_hours(found, 0) == [8 + n / 2 for n in range(28)]
    assert water_hours(found, 1) == []
    assert found.plaster[0]  # by the evening crew alone


def test_nobody_has_no_room(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        found = room(job, crews=[])
    assert found.water is not None
    assert not (found.prep.any() or found.plaster.any() or found.water.any())


@given(until=st.integers(0, 1440), start=st.integers(0, 1440))
def test_no_room_in_quiet_hours(until: int, start: int):
    job = Job(site=Site(zone="America/New_York", quiet_until_min=until, quiet_from_min=start))
    crew = AlwaysOn()
    found = crew_room(job, [crew], [], MONDAY, HORIZON)  # type: ignore[list-item]  # looks like one
    assert found.water is not None
    allowed = [slot for slot in range(DAY_SLOTS) if slot * 30 >= until and (slot + 1) * 30 <= start]
    assert list(np.flatnonzero(found.water[3])) == allowed
    hours = [hour for hour in range(24) if {2 * hour, 2 * hour + 1} <= set(allowed)]
    assert list(np.flatnonzero(found.prep[3])) == hours
    assert found.plaster[3]  # the plaster day has its own rule of hours


class AlwaysOn:
    """A crew that works day and night, without a database."""

    pk = 1
    skills = ("water", "prep", "plaster")

    class _Shifts:
        def all(self):
            return [Span(day) for day in range(7)]

    class _Absences:
        def all(self):
            return []

    shifts = _Shifts()
    absences = _Absences()


class Span:
    def __init__(self, weekday: int) -> None:
        self.weekday, self.from_min, self.to_min = weekday, 0, 1440


def test_hours_are_those_of_the_sites_own_clock(cast: Cast, job: Job):
    """A stint at 08:00 in New York takes 07:00 in Chicago; shifts are worked by the site's clock."""
    other = open_job(cast.own, label="Site 02")
    with acting_for(cast.own.contractor.pk):
        job.site.zone = "America/Chicago"
        crew = next(crew for crew in crews_at_work() if Skill.WATER in crew.skills)
        found = room(job, [stint(crew, other, 0, 9.0, 1.0)])
    assert water_hours(found, 0) == [9 + n / 2 for n in range(14)]  # 09:00 New York is 08:00 Chicago


@pytest.mark.parametrize(("first", "changes"), [(dt.date(2026, 3, 2), 6), (dt.date(2026, 10, 26), 6)])
def test_a_shift_keeps_its_wall_clock_when_the_clock_changes(cast: Cast, job: Job, first: dt.date, changes: int):
    """8 March and 1 November 2026 are Sundays; the Monday after is worked from 8 to 16 as every Monday."""
    with acting_for(cast.own.contractor.pk):
        found = room(job, first=first)
    assert water_hours(found, changes + 1) == [8 + n / 2 for n in range(16)]


def test_issued_stints_of_a_plan_are_what_takes_room(cast: Cast):
    """The same through the services: what is issued to one job is not free for the next."""
    with clock.clock_at(dt.datetime(2026, 6, 1, 10, tzinfo=dt.UTC)):
        first = open_job(cast.own)
        expect(first, cast.own)
        issue(cast.own)
        second = open_job(cast.own, label="Site 02")
    with acting_for(cast.own.contractor.pk):
        issued = list(Stint.objects.all())
        plaster = next(each for each in issued if each.stage == Stage.PLASTER)
        day = (plaster.starts.astimezone(ZONE).date() - MONDAY).days
        assert not room(second, issued).plaster[day]
        assert room(first, issued).plaster[day]
        assert room(second).plaster[day]
