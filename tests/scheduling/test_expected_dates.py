"""Expected dates: computed when an input changed and only then, and what they say holds together."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import given
from hypothesis import strategies as st

from jobs.adapters.archive import archive_forecast
from jobs.condition.quantities import PoolFigures, Quantities, ScopeFigures, quantities
from jobs.models import BandPoint, ExpectedDates, Finish, Job, JobState, Outcome, WeatherHours
from jobs.selectors.pools import pool_figures
from jobs.selectors.stage_job import CrewFacts, FillHours, fill_hours, stage_job
from jobs.selectors.weather import site_weather
from jobs.services.first_call import pool_measure
from jobs.services.scopes import scope_agree
from jobs.services.states import date_promise
from jobs.services.weather_hours import cell_open, forecast_keep
from jobs.timeline.ensemble import middle_of
from jobs.timeline.limits import Limits
from jobs.timeline.rates import Rates
from jobs.timeline.weather import HourlyWeather, stacked
from scheduling.models import FILL, Absence, CalendarEntry, Crew, Shift, Stage, Stint
from scheduling.selectors.fill_outlook import courses_of, dusks_h, job_seed, set_time_draws
from scheduling.selectors.outlook import Effort, stage_lengths
from scheduling.selectors.problem import ATTENDANT_EARLY_SLOTS, planning_problem
from scheduling.services.crews import absence_note, crew_make, shifts_set
from scheduling.services.expected_dates import (
    expected_dates_refresh,
    expected_dates_refresh_all,
    expected_dates_refresh_one,
    setting_of,
)
from scheduling.slots import DAY_SLOTS, SLOT_MIN, SlotClock
from scheduling.solver.problem import Problem
from scheduling.tasks import expected_dates_task
from shared import clock
from shared.models import Firm
from shared.tenancy.context import acting_for
from tests.cast import Cast, expect, issue, open_job

NOW = dt.datetime(2026, 5, 12, 14, 5, tzinfo=dt.UTC)  # Tuesday morning in New York
HOUR, DAY = dt.timedelta(hours=1), dt.timedelta(days=1)
QUICK = Effort(band=24, rows=4, days=24)


@pytest.fixture
def job(cast: Cast) -> Job:
    with clock.clock_at(NOW):
        return open_job(cast.own)


def refresh(cast: Cast, job: Job, now: dt.datetime = NOW) -> bool:
    with clock.clock_at(now):
        return expected_dates_refresh(Job.objects.get(pk=job.pk), setting_of(cast.own.contractor, QUICK), now)


def found(job: Job) -> ExpectedDates:
    return ExpectedDates.objects.get(job=job)


def change(job: Job, cast: Cast, **fields: Any) -> None:
    Job.objects.filter(pk=job.pk).update(**fields)


def change_site(job: Job, cast: Cast, **fields: Any) -> None:
    for name, value in fields.items():
        setattr(job.site, name, value)
    job.site.save()


def change_firm(job: Job, cast: Cast, **fields: Any) -> None:
    Firm.objects.update(**fields)


def other_stint(job: Job, cast: Cast, crew: Crew, day: int = 2) -> None:
    """An issued stint of another job of this crew."""
    other = open_job(cast.own, label="Site 02")
    starts = NOW + dt.timedelta(days=day)
    plan = Stint.objects.exclude(plan=None).first() or issued_elsewhere(cast)
    Stint.objects.create(
        plan=plan.plan, job=other, crew=crew, stage=Stage.PREP, key="prep", starts=starts, ends=starts + 2 * HOUR
    )


def issued_elsewhere(cast: Cast) -> Stint:
    """Some issued stint far ahead, for its plan."""
    with clock.clock_at(NOW + dt.timedelta(days=300)):
        third = open_job(cast.own, label="Site 03")
        expect(third, cast.own)
        issue(cast.own)
    return Stint.objects.filter(job=third)[0]


Change = Callable[[Job, Cast], Any]
INPUTS: dict[str, Change] = {
    "a longer pool": lambda job, cast: pool_measure(
        job.pool, by="office", length_m=10.0, profile=[[0.0, 1.0], [10.0, 2.0]]
    ),
    "benches": lambda job, cast: pool_measure(job.pool, by="office", benches=[[3.0, 0.4, 0.5]]),
    "a darker finish": lambda job, cast: change(job, cast, finish=Finish.DARK),
    "a later beginning": lambda job, cast: change(job, cast, earliest_date=NOW.date() + dt.timedelta(days=9)),
    "another scope": lambda job, cast: scope_agree(job, by="office", repairs_h=6.0),
    "a second hose": lambda job, cast: change_site(job, cast, hoses=2),
    "a guessed flow": lambda job, cast: change_site(job, cast, hose_flow_measured=False),
    "longer quiet hours": lambda job, cast: change_site(job, cast, quiet_until_min=480),
    "a tighter discharge limit": lambda job, cast: change_site(job, cast, discharge_limit_l_min=60.0),
    "a site elsewhere": lambda job, cast: change_site(job, cast, latitude=36.2),
    "other weather": lambda job, cast: change_site(job, cast, archive="miami_fl"),
    "a stricter limit": lambda job, cast: change_firm(job, cast, limits={"air_min_c": Limits().air_min_c + 3}),
    "a slower rate": lambda job, cast: change_firm(job, cast, rates={"wash_m2_h": 10.0}),
    "a smaller crew": lambda job, cast: Crew.objects.filter(skills=["prep"]).update(people=2),
    "a shorter shift": lambda job, cast: Shift.objects.filter(crew=cast.own.crews["water"]).update(to_min=900),
    "an absence": lambda job, cast: absence_note(
        cast.own.crews["plaster"], first_day=NOW.date(), last_day=NOW.date(), reason="", by="office"
    ),
    "a crew that is gone": lambda job, cast: Crew.objects.filter(skills=["prep"]).update(active=False),
    "another job in a crew": lambda job, cast: other_stint(job, cast, cast.own.crews["prep"]),
    "a state": lambda job, cast: change(job, cast, state=JobState.UNDER_WAY),
    "a new scope of the same kind": lambda job, cast: scope_agree(job, by="office"),
}


@pytest.mark.parametrize("what", INPUTS)
def test_a_changed_input_has_the_dates_computed_again(cast: Cast, job: Job, what: str):
    with acting_for(cast.own.contractor.pk):
        assert refresh(cast, job)
        assert not refresh(cast, job)
        INPUTS[what](job, cast)
        assert refresh(cast, job, NOW + dt.timedelta(minutes=1))
        assert found(job).computed_at == NOW + dt.timedelta(minutes=1)
        assert not refresh(cast, job, NOW + dt.timedelta(minutes=2))


NO_INPUTS: dict[str, Change] = {
    "notes": lambda job, cast: change(job, cast, notes="ring twice"),
    "another name of the site": lambda job, cast: change_site(job, cast, label="Site 99"),
    "a promise": lambda job, cast: change(job, cast, promised_date=NOW.date()),
    "the weight of the job": lambda job, cast: change(job, cast, weight=9),
    "the firm's telephone": lambda job, cast: change_firm(job, cast, phone="555 0100"),
    "a crew of another branch": lambda job, cast: crew_make(
        name="far crew",
        skills=["water"],
        people=2,
        latitude=25.8,
        longitude=-80.2,
        shifts=[(0, 480, 960)],
        branch="Miami",
        by="office",
    ),
    "work of another branch": lambda job, cast: other_stint(
        job,
        cast,
        Crew.objects.create(name="far", skills=["prep"], people=2, latitude=25.8, longitude=-80.2, branch="Miami"),
    ),
    "an absence taken back": lambda job, cast: Absence.objects.all().delete(),
}


@pytest.mark.parametrize("what", NO_INPUTS)
def test_what_is_no_input_has_nothing_computed(cast: Cast, job: Job, what: str):
    with acting_for(cast.own.contractor.pk):
        if "branch" in what and "work" in what:
            issued_elsewhere(cast)
        assert refresh(cast, job)
        NO_INPUTS[what](job, cast)
        assert not refresh(cast, job, NOW + dt.timedelta(minutes=1))
        assert found(job).computed_at == NOW


def test_the_weather_of_a_new_issue_and_a_new_day_are_inputs(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        assert refresh(cast, job)
        assert not refresh(cast, job, NOW + 3 * HOUR)  # 17 UTC: still the issue of 12 UTC
        assert refresh(cast, job, NOW + 4 * HOUR)  # the issue of 18 UTC
        assert found(job).first_day == dt.date(2026, 5, 12)
        assert refresh(cast, job, NOW + 14 * HOUR)  # after midnight in New York
        assert found(job).first_day == dt.date(2026, 5, 13)


def test_equal_inputs_give_equal_dates(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        refresh(cast, job)
        first = found(job)
        ExpectedDates.objects.all().delete()
        refresh(cast, job)
        again = found(job)
        for name in ("fingerprint", "rows", "verdicts", "band", "seed"):
            assert getattr(again, name) == getattr(first, name), name


def test_when_only_the_crews_changed_the_rows_of_the_weather_are_kept(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        refresh(cast, job)
        first = found(job)
        last = NOW.date() + dt.timedelta(days=12)
        absence_note(cast.own.crews["plaster"], first_day=NOW.date(), last_day=last, reason="", by="office")
        refresh(cast, job)
        second = found(job)
        assert (second.rows, second.verdicts) == (first.rows, first.verdicts)
        assert second.band["p50"] > max(first.band["p50"], last.isoformat())


@pytest.mark.parametrize("moment", [NOW, NOW.replace(month=1, day=20), NOW.replace(month=8), NOW.replace(month=11)])
def test_the_band_and_the_rows_hold_together_in_every_season(cast: Cast, job: Job, moment: dt.datetime):
    with acting_for(cast.own.contractor.pk):
        refresh(cast, job, moment)
        kept = found(job)
        check_band(kept)
        check_rows(kept)
        for later in (0, 1, 7):  # the rows of today still serve next week
            with clock.clock_at(moment + dt.timedelta(days=later)):
                document = planning_problem(cast.own.contractor, clock.now()).document
            [described] = Problem.from_json(document).jobs
            assert described.id == str(job.pk)


def check_band(kept: ExpectedDates) -> None:
    band = kept.band
    dates = [band[name] for name in ("p10", "p50", "p80", "p90") if band[name] is not None]
    assert dates == sorted(dates)
    known = [band[name] is not None for name in ("p10", "p50", "p80", "p90")]
    assert known == sorted(known, reverse=True)  # once beyond the horizon, always beyond it
    chances = [share for _, share in band["chance_by"]]
    days = [day for day, _ in band["chance_by"]]
    assert all(a < b for a, b in pairwise(days))
    assert all(a < b for a, b in pairwise(chances))
    assert all(0 < share <= 1 for share in chances)
    assert (chances[-1] if chances else 0.0) + band["later"] == pytest.approx(1.0, abs=1e-3)
    for name, share in (("p10", 0.1), ("p50", 0.5), ("p80", 0.8), ("p90", 0.9)):
        by_then = [reached for day, reached in band["chance_by"] if band[name] and day <= band[name]]
        before = [reached for day, reached in band["chance_by"] if not band[name] or day < band[name]]
        assert not by_then or by_then[-1] >= share - 1e-4
        assert all(reached < share for reached in before)
    assert all(day >= kept.first_day.isoformat() for day in days)
    for stage, cause, mean in band["lost_days"]:
        assert stage in ("prep", "bond", "plaster", "fill")
        assert cause == cause.lower()
        assert mean > 0


def check_rows(kept: ExpectedDates) -> None:
    """Starts lie in their day, in order; a share says how many scenarios allow the day."""
    rows = kept.rows
    for name in ("bond_days", "plaster_days", "fill_days"):
        spans = [(first, last) for _, first, last, *_ in rows[name]]
        assert all(a[1] < b[0] for a, b in pairwise(spans)), name
        for day, first, last, *lengths in rows[name]:
            assert day * DAY_SLOTS <= first <= last < (day + 1) * DAY_SLOTS, name
            assert all(length > 0 for length in lengths), name
    assert {int(day) for day in rows["shares"]} == {row[0] for row in rows["plaster_days"]}
    assert all(0.4 <= share <= 1 for share in rows["shares"].values())
    for day in rows["closed"]:  # closed, or offered though some scenarios refuse it
        assert day["why"]
        assert day["share"] == rows["shares"].get(str(day["day"]), day["share"]) < 1
    assert len(kept.verdicts) == 14
    assert all(length >= 1 for length in rows["lengths"].values())
    water = rows["fill_hours"]
    assert water["early"] < water["even"] < water["late"]


@given(
    early=st.floats(1.0, 200.0),
    wait=st.floats(0.01, 60.0),
)
def test_the_attendant_is_there_from_the_early_end_until_the_late_end(early: float, wait: float):
    """By the planner's rule the attendance starts at most two slots before the fill's length is over, never after."""
    water = FillHours(early, early + wait / 2, early + wait)
    lengths = stage_lengths(Rates(), CrewFacts(4, 5), some_work(), water, 6.0)
    hour = SLOT_MIN / 60
    for start in (lengths["fill_len"] - ATTENDANT_EARLY_SLOTS, lengths["fill_len"]):
        assert start * hour <= water.early
        assert (start + lengths["fill_end_len"]) * hour >= water.late - 1e-9


def some_work() -> Quantities:
    figures = PoolFigures(surface_m2=85.0, volume_m3=60.0, plan_m2=40.0, perimeter_m=27.0, deepest_m=2.0)
    return quantities(figures, ScopeFigures(0.0, 1, False, True), Rates())


def test_the_lengths_follow_from_the_pool_and_the_hose(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        refresh(cast, job)
        rows = found(job).rows
        water = fill_hours(job, pool_figures(job.pool))
        assert rows["fill_hours"] == {"early": water.early, "even": water.even, "late": water.late}
        assert rows["lengths"]["fill_len"] == int(water.early * 60 // SLOT_MIN)


@pytest.mark.parametrize("what", ["a short shift", "no water crew"])
def test_a_fill_that_no_crew_can_attend_is_later_and_says_why(cast: Cast, job: Job, what: str):
    """A fill of 22 h that begins between 8 and 10 h ends in the morning, when nobody works."""
    with acting_for(cast.own.contractor.pk):
        water = cast.own.crews["water"]
        if what == "a short shift":
            shifts_set(water, [(day, 8 * 60, 10 * 60) for day in range(7)])
        else:
            Crew.objects.filter(pk=water.pk).update(active=False)
        refresh(cast, job)
        kept = found(job)
        check_band(kept)
        assert (kept.band["p10"], kept.band["p90"], kept.band["later"], kept.band["chance_by"]) == (None, None, 1.0, [])
        assert "fill_crew" in {cause for _, cause, _ in kept.band["lost_days"]}
        assert BandPoint.objects.get(job=job).p90 is None


def test_an_absence_of_the_plaster_crew_pushes_the_band_past_it(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        last = NOW.date() + dt.timedelta(days=30)
        absence_note(cast.own.crews["plaster"], first_day=NOW.date(), last_day=last, reason="", by="office")
        refresh(cast, job)
        assert found(job).band["p10"] > last.isoformat()
        assert "crew" in {cause for _, cause, _ in found(job).band["lost_days"]}


def test_issued_stints_bound_the_band_from_below_and_lengthen_the_horizon(cast: Cast, job: Job):
    """With an issued stint no scenario starts that stage before it; the horizon ends 21 days after the planned fill."""
    with acting_for(cast.own.contractor.pk):
        refresh(cast, job)
        early = found(job).band["p10"]
        far = NOW.date() + dt.timedelta(days=40)
        expect(job, cast.own, plaster_days=[[40, 40 * DAY_SLOTS + 16, 40 * DAY_SLOTS + 20, 16, 12]])
        with clock.clock_at(NOW):
            expect(job, cast.own, plaster_days=[[40, 40 * DAY_SLOTS + 16, 40 * DAY_SLOTS + 20, 16, 12]])
            issue(cast.own)
        refresh(cast, job)
        kept = found(job)
        check_band(kept)
        assert early < far.isoformat() < kept.band["p10"]
        assert kept.band["p90"] is not None
        assert kept.band["p90"] > (NOW.date() + dt.timedelta(days=45)).isoformat() or kept.band["later"] < 0.1


def log(job: Job, key: str, state: str, at: dt.datetime) -> None:
    Stint.objects.filter(job=job, key=key).update(
        state=state, starts=at - 8 * HOUR, ends=at, begun_at=at - 8 * HOUR, done_at=at if state == "done" else None
    )


def test_a_stage_that_was_logged_brings_what_lies_before_it_to_an_end(cast: Cast, job: Job):
    """Nobody logged the drain, planned in three weeks; the prep has begun, so the pool is empty."""
    with clock.clock_at(NOW):
        expect(job, cast.own)
        with acting_for(cast.own.contractor.pk):
            job.earliest_date = NOW.date() + 21 * DAY
            job.save()
        issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        refresh(cast, job)
        late = found(job).band["p10"]
        log(job, "prep", "begun", NOW)
        refresh(cast, job)
        assert found(job).band["p10"] <= late
        Stint.objects.filter(job=job).exclude(key="prep").delete()
        refresh(cast, job)
        assert found(job).band["p10"] < (NOW.date() + 14 * DAY).isoformat() < late


def test_the_fill_is_expected_from_when_the_plaster_was_really_done(cast: Cast, job: Job):
    with clock.clock_at(NOW):
        expect(job, cast.own)
        issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        Stint.objects.filter(job=job, stage__in=("fill_start", "fill_end", "start_up")).delete()
        for days, key in ((9, "drain_setup"), (8, "drain_pull"), (5, "prep"), (2, "bond")):
            log(job, key, "done", NOW - days * DAY)
        log(job, "plaster", "done", NOW - 16 * HOUR)
        refresh(cast, job)
        first = found(job).band
        assert first["p10"] >= NOW.date().isoformat()
        assert first["p50"] <= (NOW.date() + 2 * DAY).isoformat()
        Stint.objects.filter(job=job, key="plaster").update(done_at=NOW + 30 * HOUR)
        refresh(cast, job)
        assert found(job).band["p10"] > first["p10"]


def test_plaster_on_a_bond_coat_that_nobody_planned_still_has_a_fill_day(cast: Cast, job: Job):
    with clock.clock_at(NOW):
        expect(job, cast.own)
        issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        Stint.objects.filter(job=job).exclude(key="plaster").delete()
        log(job, "plaster", "begun", NOW)
        refresh(cast, job)
        assert found(job).band["p10"] is not None
        check_band(found(job))


@pytest.mark.parametrize("state", [JobState.FILLING, JobState.FIRST_MONTH])
def test_nothing_is_expected_of_a_pool_that_fills(cast: Cast, job: Job, state: str):
    with acting_for(cast.own.contractor.pk):
        change(job, cast, state=state)
        assert not refresh(cast, job)
        assert not ExpectedDates.objects.exists()


def test_nothing_is_expected_before_a_scope_is_agreed(cast: Cast):
    job = open_job(cast.own, agreed=False)
    with acting_for(cast.own.contractor.pk):
        assert not refresh(cast, job)


def test_without_weather_the_last_dates_stay_and_nothing_breaks(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        refresh(cast, job)
        before = found(job)
        change_site(job, cast, archive="")
        change_firm(job, cast, weather_source="nws")
        assert not refresh(cast, job)
        assert expected_dates_refresh_all(cast.own.contractor, NOW, QUICK) == 0
        assert found(job).fingerprint == before.fingerprint
        [described] = Problem.from_json(planning_problem(cast.own.contractor, NOW).document).jobs
        assert described.id == str(job.pk)


def test_weather_that_cannot_be_read_stops_no_other_job(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        refresh(cast, job)
        with clock.clock_at(NOW):
            second = open_job(cast.own, label="Site 02", site={"latitude": 36.4})
        change_site(job, cast, archive="nowhere")
    with clock.clock_at(NOW):
        expected_dates_task.run(str(cast.own.contractor.pk))
    with acting_for(cast.own.contractor.pk):
        assert ExpectedDates.objects.filter(job=second).exists()
        assert ExpectedDates.objects.filter(job=job).exists()


def test_the_calendar_follows_the_band_and_only_when_it_moved(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk), clock.clock_at(NOW):
        expected_dates_refresh_all(cast.own.contractor, NOW, QUICK)
    with clock.clock_at(NOW):
        issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        expected_dates_refresh_all(cast.own.contractor, NOW, QUICK)
        first = CalendarEntry.objects.get(job=job, key=FILL)
        assert first.facts["band"] == {name: found(job).band[name] for name in ("p50", "p80", "p90")}
        assert expected_dates_refresh_all(cast.own.contractor, NOW + HOUR, QUICK) == 0
        absence_note(cast.own.crews["water"], first_day=first.day, last_day=first.day + 5 * DAY, reason="", by="office")
        assert expected_dates_refresh_all(cast.own.contractor, NOW + HOUR, QUICK) == 1
        moved = CalendarEntry.objects.get(job=job, key=FILL)
        assert moved.facts["band"] == {name: found(job).band[name] for name in ("p50", "p80", "p90")}
        assert (moved.uid, moved.sequence, moved.changed_at) == (first.uid, first.sequence + 1, NOW + HOUR)
        assert moved.day == first.day  # the issued stint moves only with a plan


def test_a_point_of_the_band_is_kept_for_every_move(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        refresh(cast, job)
        with clock.clock_at(NOW):
            date_promise(Job.objects.get(pk=job.pk), day=NOW.date() + 30 * DAY, by=cast.own.office)
        refresh(cast, job, NOW + 4 * HOUR)
        points = BandPoint.objects.filter(job=job).order_by("at")
        bands = {(point.p50, point.p80, point.p90) for point in points}
        assert len(bands) == len(points) >= 1
        assert points[0].why == "weather of 2026-05-12 12:00"


def test_one_job_can_be_refreshed_by_itself(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk), clock.clock_at(NOW):
        assert expected_dates_refresh_one(cast.own.contractor, job.pk, NOW)
        assert not expected_dates_refresh_one(cast.own.contractor, job.pk, NOW)


def test_the_weather_of_a_cell_is_fetched_once_for_all_its_jobs(cast: Cast, job: Job):
    with clock.clock_at(NOW):
        open_job(cast.own, label="Site 02", site={"latitude": 36.101})
    with acting_for(cast.own.contractor.pk):
        assert expected_dates_refresh_all(cast.own.contractor, NOW, QUICK) == 2
        assert WeatherHours.objects.count() == 1


def test_neighbours_share_one_storm_and_each_has_its_own_work(cast: Cast, job: Job):
    """Weather of an area comes from one seed an issue; the hours of prep from the job's own."""
    with clock.clock_at(NOW):
        near = open_job(cast.own, label="Site 02", site={"latitude": 36.13})  # another cell of the same station
    with acting_for(cast.own.contractor.pk):
        expected_dates_refresh_all(cast.own.contractor, NOW, QUICK)
        first, second = found(job), found(near)
        assert first.seed == second.seed
        assert job_seed(cast.own.contractor, job) != job_seed(cast.own.contractor, near)
        clock_ = SlotClock(NOW.date(), job.site.tz)
        one, two = (
            courses_of(each, weather, clock_, days, 40).weather
            for each, weather, days in (
                (job, site_weather(job.site, "archive"), 45),
                (near, site_weather(near.site, "archive"), 60),
            )
        )
        hours = slice(24 * 12, 24 * 40)  # beyond the forecast
        assert np.array_equal(one.rain_mm[:, hours], two.rain_mm[:, hours])
        soon = slice(24, 24 * 7)
        wet = [(each.rain_mm[:, soon].reshape(40, -1, 24) > 0).any(axis=2).ravel() for each in (one, two)]
        assert np.corrcoef(*wet)[0, 1] > 0.5


def test_the_band_says_what_it_rests_on(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        refresh(cast, job)
        known = found(job).band["weather"]
        assert (known["kind"], known["members"], known["station"]) == ("forecast", 0, "greensboro_nc")
        assert dt.datetime.fromisoformat(known["issued_at"]) == NOW.replace(hour=12, minute=0)
        assert known["learned_from"] > 60  # bundled weather comes with an archive of its forecasts
        assert "a forecast issued 2026-05-12T12:00:00+00:00" in found(job).band["source"]
        assert "typical year of greensboro_nc" in found(job).band["source"]


def online(cast: Cast, job: Job, source: str, ahead: HourlyWeather, members: HourlyWeather | None = None) -> None:
    change_firm(job, cast, weather_source=source)
    cell = cell_open(job.site, source)
    forecast_keep(cell, ahead, issued_at=ahead.start, at=ahead.start, validators={}, members=members)


@pytest.mark.parametrize(
    ("days_old", "kind"), [(0, "forecast"), (3, "forecast"), (9, "forecast"), (11, "typical year")]
)
def test_an_outage_ages_the_forecast_until_only_the_typical_year_is_left(
    cast: Cast, job: Job, days_old: int, kind: str
):
    """The first answer of a source knows nothing of this morning; days later none of its hours is left."""
    with acting_for(cast.own.contractor.pk):
        issued = archive_forecast("greensboro_nc", 0, NOW.replace(hour=12, minute=0))
        online(cast, job, "nws", issued.slice(NOW.replace(hour=14, minute=0), issued.end))
        assert refresh(cast, job, NOW + days_old * DAY)
        kept = found(job)
        check_band(kept)
        check_rows(kept)
        assert kept.weather_issued_at == NOW.replace(minute=0)
        assert kept.band["weather"]["kind"] == kind
        assert ("there is no forecast" in kept.band["source"]) == (kind == "typical year")


def test_a_forecast_whose_rain_amounts_end_early_still_has_a_band(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        issued = archive_forecast("greensboro_nc", 0, NOW.replace(hour=12, minute=0))
        ahead = issued.slice(NOW.replace(hour=14, minute=0), issued.end)
        rain = ahead.rain_mm.copy()
        rain[60:] = np.nan
        online(cast, job, "nws", ahead.with_fields(rain_mm=rain))
        for later in (0, 4):  # four days on, today's morning itself has no amounts
            assert refresh(cast, job, NOW + later * DAY)
            check_band(found(job))


def test_members_of_an_ensemble_are_the_scenarios(cast: Cast, job: Job):
    """All members dry for ten days or all wet: the chance of plaster in the first days follows them."""
    issued = archive_forecast("greensboro_nc", 0, NOW.replace(hour=12, minute=0))
    ahead = issued.slice(NOW.replace(hour=14, minute=0), NOW.replace(hour=14, minute=0) + 9 * DAY)
    mild = {"temp_air_c": np.full(216, 18.0), "dew_point_c": np.full(216, 8.0), "wind_m_s": np.full(216, 2.0)}
    humidity = {"relative_humidity": np.full(216, 0.52)}
    shares = []
    with acting_for(cast.own.contractor.pk):
        for rain in (0.0, 1.0):
            runs = stacked([ahead.with_fields(**mild, **humidity, rain_mm=np.full(216, rain))] * 20)
            online(cast, job, "open-meteo-ensemble", middle_of(runs), runs)
            refresh(cast, job)
            kept = found(job)
            assert (kept.band["weather"]["kind"], kept.band["weather"]["members"]) == ("ensemble", 20)
            assert kept.band["source"].startswith("an ensemble of 20 members issued 2026-05-12T14:00")
            shares.append([verdict["share"] for verdict in kept.verdicts[1:7]])
            WeatherHours.objects.all().delete()
    assert min(shares[0]) == 1.0
    assert max(shares[1]) == 0.0


def test_what_makes_the_date_uncertain_is_kept_beside_what_holds_it_back(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        refresh(cast, job)
        risk = found(job).band["risk"]
        assert risk
        for stage, cause, days, share in risk:
            assert stage in ("prep", "bond", "plaster", "fill")
            assert cause == cause.lower()
            assert days > 0
            assert 0 < share <= 1
        assert sum(row[3] for row in risk) <= 1.001


def test_what_was_learned_of_set_time_and_prep_moves_the_dates(cast: Cast, job: Job):
    """Days on which the mix set a third later than stated: a later clock, and surer of it than before any of them."""
    with acting_for(cast.own.contractor.pk):
        refresh(cast, job)
        before = setting_of(cast.own.contractor, QUICK)
        for what, ratio in (("set", 1.33), ("prep", 1.5)):
            for number in range(15):
                Outcome.objects.create(
                    job=job,
                    stint_id=uuid.uuid4(),
                    what=what,
                    at=NOW - number * DAY,
                    expected_h=6.0,
                    took_h=6.0 * ratio * (1.05 if number % 2 else 0.95),
                )
        after = setting_of(cast.own.contractor, QUICK)
        assert after.rates.reference_set_h == pytest.approx(1.33 * before.rates.reference_set_h, rel=0.05)
        assert after.set_time_sd < before.set_time_sd
        assert (before.production_learned, after.production_learned) == (False, True)
        assert after.rates.strip_m2_h < before.rates.strip_m2_h
        assert refresh(cast, job, NOW + dt.timedelta(minutes=1))


def test_set_time_is_drawn_about_the_one_in_force():
    drawn = set_time_draws(4000, 7, 0.22)
    assert np.median(drawn) == pytest.approx(1.0, abs=0.01)
    assert np.log(drawn).std() == pytest.approx(0.22, rel=0.02)
    assert np.array_equal(drawn, set_time_draws(4000, 7, 0.22))
    assert (set_time_draws(10, 7, 0.0) == 1.0).all()


def test_dusk_is_a_wall_clock_hour_on_the_night_the_clocks_change(cast: Cast, job: Job):
    """An hour later by the clock on the day that summer time begins, an hour sooner on the day it ends."""
    figures = pool_figures(job.pool)
    stages = stage_job(job, figures, Rates(), Limits(), CrewFacts(4, 5))
    for day, moves in ((dt.date(2026, 3, 7), 1.0), (dt.date(2026, 10, 31), -1.0)):
        dusk = dusks_h(stages, SlotClock(day, job.site.tz), 2)
        assert dusk[1] - dusk[0] == pytest.approx(moves, abs=0.05)
        assert dusk[2] - dusk[1] == pytest.approx(0.0, abs=0.05)


def test_the_firm_is_read_once_for_all_its_jobs(cast: Cast, job: Job):
    """A further job costs the same few queries, however many crews and stints there are."""

    def queries() -> int:
        with CaptureQueriesContext(connection) as seen, clock.clock_at(NOW):
            expected_dates_task.run(str(cast.own.contractor.pk))
        assert sum("scheduling_shift" in query["sql"] for query in seen) == 1
        return len(seen)

    ids = [job.pk]
    queries()
    one = queries()
    with clock.clock_at(NOW):
        ids += [open_job(cast.own, label=f"Site 0{number}").pk for number in range(2, 5)]
    queries()
    assert (queries() - one) / 3 <= 15


def test_a_setting_older_than_the_last_result_is_read_again(cast: Cast, job: Job):
    """A refresh that began before a change of the crews must not put its older dates over the newer ones."""
    with acting_for(cast.own.contractor.pk):
        with clock.clock_at(NOW):
            old = setting_of(cast.own.contractor, QUICK)
        last = NOW.date() + dt.timedelta(days=12)
        absence_note(cast.own.crews["plaster"], first_day=NOW.date(), last_day=last, reason="", by="office")
        refresh(cast, job, NOW + dt.timedelta(minutes=1))
        newest = found(job).band["p50"]
        with clock.clock_at(NOW + dt.timedelta(minutes=2)):
            expected_dates_refresh_one(cast.own.contractor, job.pk, NOW + dt.timedelta(minutes=2), old)
        assert found(job).band["p10"] > last.isoformat()
        assert newest > last.isoformat()


def test_first_day_and_rows_are_in_the_zone_of_the_site(cast: Cast):
    """At 02 UTC it is still the evening before in New York, and in Honolulu the afternoon."""
    late = dt.datetime(2026, 5, 13, 2, tzinfo=dt.UTC)
    with clock.clock_at(late):
        job = open_job(cast.own, site={"zone": "Pacific/Honolulu"})
    with acting_for(cast.own.contractor.pk):
        refresh(cast, job, late)
        assert found(job).first_day == dt.date(2026, 5, 12)
        day, first, _, *_ = found(job).rows["fill_days"][0]
        starts = SlotClock(found(job).first_day, job.site.tz).instant(first)
        assert starts.astimezone(job.site.tz).date() == found(job).first_day + day * DAY
