"""The demonstration is alive on whatever day it is opened."""

from __future__ import annotations

import datetime as dt
from collections import Counter

import icalendar
import pytest
from django.test import Client

from fixtures_demo import build as demonstration
from fixtures_demo import past
from fixtures_demo.firms import FIRMS
from jobs.models import ExpectedDates, Job, JobState
from jobs.selectors.condition import finding_of, survey_latest
from scheduling.models import Plan, PlanState, Stint, StintState
from scheduling.selectors.outlook import Effort
from scheduling.services import expected_dates
from scheduling.solver.check import check
from scheduling.solver.plan import Plan as Answer
from scheduling.solver.problem import Problem
from shared.models import Contractor, TokenKind
from shared.services.tokens import token_for
from shared.tenancy.context import acting_for

# Each month once, both nights on which the clock changes, the last day of February of a leap year, several hours.
DATES = [
    "2026-01-15T15:00",
    "2028-02-29T12:00",
    "2026-03-08T16:00",
    "2026-04-15T11:00",
    "2026-05-20T21:00",
    "2026-06-30T03:00",
    "2026-07-04T17:00",
    "2026-08-23T14:00",
    "2026-09-07T13:00",
    "2026-10-12T19:00",
    "2026-11-01T16:00",
    "2026-12-31T23:30",
]
QUICK = Effort(band=24, rows=6, days=40, shell=False)


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Few scenarios: what is shown here does not hang on how fine the band is."""
    monkeypatch.setattr(past, "PLAN_EFFORT", QUICK)
    monkeypatch.setattr(demonstration, "PLAN_EFFORT", QUICK)
    monkeypatch.setattr(expected_dates, "FULL", QUICK)
    monkeypatch.setattr(expected_dates.expected_dates_refresh_all, "__defaults__", (QUICK,))


@pytest.mark.django_db
@pytest.mark.parametrize("date", DATES)
def test_the_demonstration_is_alive_on_any_day(quick: None, date: str):
    now = dt.datetime.fromisoformat(date).replace(tzinfo=dt.UTC)
    lines = demonstration.build(now)
    assert any("trowel-and-tide-14" in line for line in lines)
    states: Counter[str] = Counter()
    for firm in FIRMS:
        contractor = Contractor.objects.get(slug=firm.slug)
        with acting_for(contractor.pk):
            jobs = list(Job.objects.select_related("site", "pool"))
            assert len(jobs) == len(firm.jobs)
            states.update(job.state for job in jobs)
            _plans_hold()
            _open_jobs_are_planned(jobs)
            _bands_have_a_width(jobs)
            feed = token_for(TokenKind.FEED, "firm").secret
        body = Client().get(f"/feeds/{feed}/fill-days.ics").content
        assert len(icalendar.Calendar.from_ical(body).walk("VEVENT")) >= 3
    always = {
        JobState.SURVEYED,
        JobState.SCOPE_AGREED,
        JobState.DATE_PROMISED,
        JobState.FIRST_MONTH,
        JobState.CALLED_OFF,
    }
    assert always - set(states) == set()
    # Weather is real: a bad fortnight may hold back the pool that is to fill today, or the one under way.
    assert {JobState.UNDER_WAY, JobState.FILLING} & set(states)


def _plans_hold() -> None:
    for plan in Plan.objects.filter(state=PlanState.ISSUED):
        assert check(Problem.from_json(plan.problem), Answer.from_json(plan.answer)) == []


def _open_jobs_are_planned(jobs: list[Job]) -> None:
    planned = [job for job in jobs if job.state in (JobState.SCOPE_AGREED, JobState.DATE_PROMISED, JobState.FILLING)]
    alive = (StintState.ISSUED, StintState.PROPOSED)
    with_stints = set(Stint.objects.filter(state__in=alive).values_list("job_id", flat=True))
    left_out = [job.site.label for job in planned if job.pk not in with_stints]
    assert len(left_out) <= 1, f"more than one pool has no place in its plan: {left_out}"


def _bands_have_a_width(jobs: list[Job]) -> None:
    bands = [row.band for row in ExpectedDates.objects.filter(job__in=jobs)]
    assert any(band["p10"] != band["p90"] for band in bands)


@pytest.mark.django_db
def test_the_special_pools_are_there_and_building_again_changes_nothing(quick: None):
    now = dt.datetime(2026, 4, 15, 15, tzinfo=dt.UTC)
    first = demonstration.build(now)
    assert demonstration.build(now) == first
    contractor = Contractor.objects.get(slug="quillfeather")
    with acting_for(contractor.pk):
        by_label = {job.site.label: job for job in Job.objects.select_related("site", "pool", "pool_owner")}
        painted = finding_of(survey_latest(by_label["Site 10, Tollgate Road"].pool))
        proud = finding_of(survey_latest(by_label["Site 08, Saddler's Green"].pool))
        assert painted.painted > 0.95
        assert proud.at_least(2) > 0.9
        assert by_label["Site 07, Alder Court"].pool.shape == "outline"
        assert by_label["Site 06, Quarry Bend"].site.high_groundwater
        held = Stint.objects.filter(job=by_label["Site 06, Quarry Bend"], state=StintState.PROPOSED)
        assert {stint.stage for stint in held} == {"drain_setup", "drain_pull"}
        assert {job.pool_owner.language for job in by_label.values()} == {"en", "es"}
