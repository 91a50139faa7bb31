"""Expected dates: computed when an input changed and only then, and what they say holds together."""

from __future__ import annotations

import datetime as dt
import uuid

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import given
from hypothesis import strategies as st

from jobs.condition.quantities import PoolFigures, Quantities, ScopeFigures, quantities
from jobs.models import BandPoint, ExpectedDates, Job, JobState, Outcome
from jobs.selectors.pools import pool_figures
from jobs.selectors.stage_job import CrewFacts, FillHours, fill_hours, stage_job
from jobs.services.states import date_promise
from jobs.timeline.limits import Limits
from jobs.timeline.rates import Rates
from scheduling.models import FILL, CalendarEntry, Crew, Stint
from scheduling.selectors.fill_outlook import dusks_h, set_time_draws
from scheduling.selectors.outlook import stage_lengths
from scheduling.selectors.problem import ATTENDANT_EARLY_SLOTS, planning_problem
from scheduling.services.crews import absence_note, shifts_set
from scheduling.services.expected_dates import (
    expected_dates_refresh_all,
    expected_dates_refresh_one,
    setting_of,
)
from scheduling.slots import DAY_SLOTS, SLOT_MIN, SlotClock
from scheduling.solver.problem import Problem
from scheduling.tasks import expected_dates_task
from shared import clock
from shared.tenancy.context import acting_for
from tests.cast import Cast, expect, issue, open_job
from tests.scheduling.expected import (
    DAY,
    HOUR,
    NOW,
    QUICK,
    change,
    check_band,
    check_rows,
    found,
    refresh,
)


@pytest.fixture
def job(cast: Cast) -> Job:
    with clock.clock_at(NOW):
        return open_job(cast.own)


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
