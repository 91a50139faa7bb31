from __future__ import annotations

import datetime as dt
from math import asin, cos, hypot, radians, sin, sqrt
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.models import Job
from scheduling.models import Crew, Stint, StintState
from scheduling.selectors.crews import crews_at_work, shift_slots
from scheduling.selectors.problem import move_cost, planning_problem
from scheduling.services.crews import absence_note, crew_make
from scheduling.services.plans import stint_keep, stint_mark
from scheduling.slots import DAY_SLOTS, SlotClock, metres, slots_of_hours
from scheduling.solver.problem import Problem
from shared import clock
from shared.tenancy.context import acting_for
from tests.cast import Cast, expect, issue, open_job, propose

NEW_YORK = ZoneInfo("America/New_York")
NOON = dt.datetime(2026, 4, 15, 16, tzinfo=dt.UTC)  # Wednesday, noon in New York


@given(slot=st.integers(-480, 480), day=st.dates(dt.date(2025, 1, 1), dt.date(2030, 1, 1)))
def test_a_slot_and_its_instant_are_one(slot: int, day: dt.date):
    """Except in the hour that the clock skips in spring, which counts as the hour after it."""
    clock_of_day = SlotClock(day, NEW_YORK)
    instant = clock_of_day.instant(slot)
    back = clock_of_day.slot(instant)
    wall = dt.datetime.combine(clock_of_day.date(slot), dt.time()) + dt.timedelta(minutes=30 * (slot % DAY_SLOTS))
    exists = instant.astimezone(NEW_YORK).replace(tzinfo=None) == wall
    assert back == slot if exists else back == slot + 2


def test_a_day_has_48_slots_even_when_the_clock_changes():
    spring = SlotClock(dt.date(2026, 3, 8), NEW_YORK)
    autumn = SlotClock(dt.date(2026, 11, 1), NEW_YORK)
    assert spring.instant(DAY_SLOTS) - spring.instant(0) == dt.timedelta(hours=23)
    assert autumn.instant(DAY_SLOTS) - autumn.instant(0) == dt.timedelta(hours=25)
    assert spring.date(DAY_SLOTS) == dt.date(2026, 3, 9)


@pytest.mark.parametrize(("hours", "slots"), [(0.0, 1), (0.5, 1), (0.51, 2), (1.0, 2), (7.0, 14), (7.01, 15)])
def test_hours_fill_whole_slots(hours: float, slots: int):
    assert slots_of_hours(hours) == slots


def test_metres_agree_with_the_great_circle():
    """Haversine on the mean sphere (6,371.0088 km, IUGG), 60 km apart."""
    lat, lon, from_lat, from_lon = 36.5, -79.3, 36.07, -79.79
    half = sin(radians(lat - from_lat) / 2) ** 2
    half += cos(radians(lat)) * cos(radians(from_lat)) * sin(radians(lon - from_lon) / 2) ** 2
    circle = 2 * 6_371_008.8 * asin(sqrt(half))
    assert hypot(*metres(lat, lon, from_lat, from_lon)) == pytest.approx(circle, rel=0.005)


@pytest.mark.parametrize(
    ("ahead", "cost"),
    [({"hours": 18}, 50_000), ({"hours": 19}, 600), ({"days": 3}, 600), ({"days": 4}, 250), ({"days": 60}, 30)],
)
def test_the_cost_of_a_move(ahead: dict[str, float], cost: int):
    assert move_cost(dt.timedelta(**ahead)) == cost


@pytest.fixture
def job(cast: Cast) -> Job:
    with clock.clock_at(NOON):
        found = open_job(cast.own)
        expect(found, cast.own)
    return found


def test_the_problem_of_a_firm_is_one_the_planner_accepts(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        found = planning_problem(cast.own.contractor, NOON)
    problem = Problem.from_json(found.document)
    assert [each.id for each in problem.jobs] == [str(job.pk)]
    assert found.document["now"] == 24
    assert found.document["rules"]["fill_end_late"] == 0
    assert found.clock.first_day == dt.date(2026, 4, 15)


def test_rows_computed_yesterday_are_counted_from_today(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        today = planning_problem(cast.own.contractor, NOON).document["jobs"][0]
        tomorrow = planning_problem(cast.own.contractor, NOON + dt.timedelta(days=1)).document["jobs"][0]
    assert tomorrow["plaster_days"] == [
        [day - 1, first - DAY_SLOTS, last - DAY_SLOTS, *rest] for day, first, last, *rest in today["plaster_days"][1:]
    ]


def test_a_site_in_another_zone_has_its_hours_shifted(cast: Cast):
    with clock.clock_at(NOON):
        central = open_job(cast.own, label="Site 02", site={"zone": "America/Chicago"})
        expect(central, cast.own)
        with acting_for(cast.own.contractor.pk):
            [described] = planning_problem(cast.own.contractor, NOON).document["jobs"]
    assert described["quiet"] == [[0, 16], [40, 48]]  # 07:00 and 19:00 Central are 08:00 and 20:00 Eastern
    assert described["plaster_days"][0][:3] == [0, 18, 22]


@pytest.mark.parametrize(
    ("until", "start", "quiet"), [(420, 1140, [[0, 14], [38, 48]]), (435, 1125, [[0, 15], [37, 48]])]
)
def test_a_half_hour_that_is_partly_quiet_is_quiet(
    cast: Cast, job: Job, until: int, start: int, quiet: list[list[int]]
):
    job.site.quiet_until_min, job.site.quiet_from_min = until, start
    with acting_for(cast.own.contractor.pk):
        job.site.save()
        [described] = planning_problem(cast.own.contractor, NOON).document["jobs"]
    assert described["quiet"] == quiet


def test_an_absence_takes_the_days_out_of_the_shifts(cast: Cast):
    with acting_for(cast.own.contractor.pk):
        crew = cast.own.crews["prep"]
        absence_note(crew, first_day=dt.date(2026, 4, 16), last_day=dt.date(2026, 4, 17), reason="course", by="cast")
        found = next(each for each in crews_at_work() if each.pk == crew.pk)
        spans = shift_slots(found, SlotClock(dt.date(2026, 4, 15), NEW_YORK), 5)
    assert spans == [[12, 40], [156, 184], [204, 232]]


def test_a_branch_has_its_own_jobs_and_crews(cast: Cast, job: Job):
    with clock.clock_at(NOON):
        far = open_job(cast.own, label="Site 09", site={"branch": "Miami", "latitude": 25.8, "longitude": -80.2})
        expect(far, cast.own)
    with acting_for(cast.own.contractor.pk):
        crew_make(
            name="far crew",
            skills=["water"],
            people=2,
            latitude=25.8,
            longitude=-80.2,
            shifts=[(0, 480, 960)],
            branch="Miami",
            by="cast",
        )
        here = planning_problem(cast.own.contractor, NOON).document
        there = planning_problem(cast.own.contractor, NOON, branch="Miami").document
    assert [each["id"] for each in here["jobs"]] == [str(job.pk)]
    assert [each["id"] for each in there["jobs"]] == [str(far.pk)]
    assert (len(here["crews"]), len(there["crews"])) == (3, 1)


def test_a_job_without_expected_dates_is_left_aside_with_the_reason(cast: Cast):
    job = open_job(cast.own)
    with acting_for(cast.own.contractor.pk):
        found = planning_problem(cast.own.contractor, NOON)
    assert found.document["jobs"] == []
    assert found.left_aside == ((job, "its expected dates are not computed yet"),)


def fixed_at(cast: Cast, instant: dt.datetime) -> list[dict]:
    with acting_for(cast.own.contractor.pk):
        [described] = planning_problem(cast.own.contractor, instant).document["jobs"]
    return described["fixed"]


def test_a_stint_that_was_never_logged_is_taken_as_it_was_planned(cast: Cast, job: Job):
    with clock.clock_at(NOON):
        issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        Stint.objects.filter(job=job).update(state=StintState.ISSUED)  # the drain is released
        setup = Stint.objects.get(job=job, key="drain_setup")
    assert [stage["stage"] for stage in fixed_at(cast, setup.starts + dt.timedelta(minutes=1))] == ["drain_setup"]


def test_a_past_stint_cannot_have_been_while_the_drain_is_held(cast: Cast, job: Job):
    """Its drain was never issued, so the prep that nobody logged is planned anew."""
    with clock.clock_at(NOON):
        issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        prep = Stint.objects.get(job=job, key="prep")
        assert Stint.objects.get(job=job, key="drain_pull").state == StintState.PROPOSED
    assert fixed_at(cast, prep.starts + dt.timedelta(hours=1)) == []
    with clock.clock_at(prep.starts + dt.timedelta(hours=1)):
        assert propose(cast.own).answer["unplanned"] == []


def test_what_lies_before_a_logged_stage_is_over(cast: Cast, job: Job):
    """A crew forgot to log the drain: its times end before the prep that was begun."""
    with clock.clock_at(NOON):
        issue(cast.own)
        with acting_for(cast.own.contractor.pk):
            prep = Stint.objects.select_related("job__site").get(job=job, key="prep")
            stint_mark(prep, StintState.BEGUN, at=NOON, by="crew lead")
    fixed = fixed_at(cast, NOON)
    assert [stage["stage"] for stage in fixed] == ["drain_setup", "drain_pull", "prep"]
    assert max(stage["end"] for stage in fixed[:2]) <= fixed[2]["start"] == 24
    with clock.clock_at(NOON):
        assert propose(cast.own).answer["unplanned"] == []


def test_a_crew_that_is_gone_stays_in_the_past_of_its_jobs(cast: Cast, job: Job):
    with clock.clock_at(NOON):
        issue(cast.own)
        with acting_for(cast.own.contractor.pk):
            prep = Stint.objects.select_related("job__site").get(job=job, key="prep")
            stint_mark(prep, StintState.DONE, at=NOON, by="crew lead")
            crew_make(
                name="new crew", skills=["water", "prep"], people=2, latitude=36.1, longitude=-79.8,
                shifts=[(day, 360, 1200) for day in range(7)], by="office",
            )  # fmt: skip
            Crew.objects.filter(pk__in=[cast.own.crews["prep"].pk, cast.own.crews["water"].pk]).update(active=False)
            found = planning_problem(cast.own.contractor, NOON)
        by_id = {crew["id"]: crew for crew in found.document["crews"]}
        assert by_id[str(cast.own.crews["prep"].pk)]["shifts"] == []
        assert {each["crew"] for each in found.document["current"]} == {str(cast.own.crews["plaster"].pk)}
        assert propose(cast.own).answer["unplanned"] == []  # the new crew takes over


def test_a_site_at_the_end_of_the_world_is_left_aside_and_stops_no_other(cast: Cast, job: Job):
    """Greensboro with the sign of its longitude lost lies in Tibet."""
    with clock.clock_at(NOON):
        lost = open_job(cast.own, label="Site 09", site={"longitude": 79.8})
        expect(lost, cast.own)
        with acting_for(cast.own.contractor.pk):
            found = planning_problem(cast.own.contractor, NOON)
        assert [each["id"] for each in found.document["jobs"]] == [str(job.pk)]
        assert [(aside, why[:37]) for aside, why in found.left_aside] == [
            (lost, "its site is more than 400 km from eve")
        ]
        assert propose(cast.own).answer["unplanned"] == []


def test_a_kept_day_that_can_no_longer_be_is_left_out_and_stops_no_other(cast: Cast, job: Job):
    """The plaster day is kept, and then nobody can prepare the pool before it."""
    with clock.clock_at(NOON):
        second = open_job(cast.own, label="Site 02")
        expect(second, cast.own)
        issue(cast.own)
        with acting_for(cast.own.contractor.pk):
            plaster = Stint.objects.get(job=job, key="plaster")
            stint_keep(plaster, kept=True, by=cast.own.office)
            last = plaster.starts.date()
            absence_note(cast.own.crews["prep"], first_day=NOON.date(), last_day=last, reason="", by="office")
        plan = propose(cast.own)
    assert plan.answer["unplanned"] == [str(job.pk)]


def test_half_nights_are_blocked_for_prep_when_the_weather_says_so(cast: Cast, job: Job):
    with clock.clock_at(NOON):
        expect(job, cast.own, prep_blocked=[[14, 32]])
    with acting_for(cast.own.contractor.pk):
        [described] = planning_problem(cast.own.contractor, NOON).document["jobs"]
        [later] = planning_problem(cast.own.contractor, NOON + dt.timedelta(days=1)).document["jobs"]
    assert described["blocked"] == {"prep": [[14, 32]]}
    assert later["blocked"] == {"prep": []}
