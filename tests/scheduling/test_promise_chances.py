"""How sure promised dates are with a proposal: the band of expected dates, with the proposal's stints in place."""

import datetime as dt

import pytest
from django.urls import reverse

from jobs.models import ExpectedDates, Job, JobState
from jobs.services.weather_hours import cell_open, cell_refresh
from scheduling.models import Plan, Stage, Stint, StintState
from scheduling.services import promise_chances as module
from scheduling.services.expected_dates import expected_dates_refresh_one
from scheduling.services.plans import plan_issue
from scheduling.services.promise_chances import promise_chances
from shared import clock
from shared.models import Firm
from shared.tenancy.context import acting_for
from tests.cast import Cast, client_of, propose
from tests.scheduling.office import office, planned_job, text_of
from tests.scheduling.test_changes import later


@pytest.fixture
def proposal(cast: Cast) -> tuple[Plan, Job]:
    """One pool under real weather, in force three days later than it has to be; the proposal brings it forward."""
    job = planned_job(cast)
    with acting_for(cast.own.contractor.pk):
        cell_refresh(cell_open(job.site, Firm.objects.get().source), clock.now())
        Stint.objects.filter(state=StintState.PROPOSED).update(state=StintState.ISSUED)
        later(job)
        expected_dates_refresh_one(cast.own.contractor, job.pk, clock.now())
    plan = propose(cast.own)
    with acting_for(cast.own.contractor.pk):
        full = Stint.objects.get(job=job, key=Stage.FILL_END)
        job.promised_date = full.starts.astimezone(job.site.tz).date() - dt.timedelta(days=1)
        job.state = JobState.DATE_PROMISED
        job.save()
    return plan, job


def chances(cast: Cast, plan: Plan):
    with acting_for(cast.own.contractor.pk):
        return promise_chances(cast.own.contractor, plan, clock.now())


def test_a_promise_that_the_plan_in_force_must_miss_is_surer_with_one_that_brings_it_forward(cast: Cast, proposal):
    plan, job = proposal
    (row,) = chances(cast, plan)
    assert row.job == job
    assert row.before == 0.0  # an issued stint is never begun before its day
    assert row.after is not None
    assert row.after > row.before
    assert not row.falls


def test_it_is_what_the_expected_dates_say_once_the_proposal_is_issued(cast: Cast, proposal):
    plan, job = proposal
    (row,) = chances(cast, plan)
    with acting_for(cast.own.contractor.pk):
        plan_issue(cast.own.contractor, plan, by=cast.own.office)
        Stint.objects.filter(job=job, state=StintState.PROPOSED).update(state=StintState.ISSUED)
        expected_dates_refresh_one(cast.own.contractor, job.pk, clock.now())
        band = ExpectedDates.objects.get(job=job).band
    by_then = [share for day, share in band["chance_by"] if day <= job.promised_date.isoformat()]
    assert row.after == pytest.approx(max(by_then, default=0.0), abs=0.02)


def test_nothing_is_kept_and_the_page_says_both(cast: Cast, proposal):
    plan, job = proposal
    with acting_for(cast.own.contractor.pk):
        before = ExpectedDates.objects.get(job=job).computed_at
    path = reverse("plan-chances", args=[plan.pk])
    page, part = office(cast).get(path), office(cast).get(path, headers={"HX-Request": "true"})
    assert "<main" in page.content.decode()
    assert "<main" not in part.content.decode()
    assert job.site.label in text_of(page)
    assert "in force" in text_of(page)
    asking = office(cast).get(reverse("changes")).content.decode()
    assert f'hx-get="{path}"' in asking
    assert "htmx.min.js" in asking
    with acting_for(cast.own.contractor.pk):
        assert ExpectedDates.objects.get(job=job).computed_at == before


def test_without_time_a_job_is_named_without_a_chance(cast: Cast, proposal, monkeypatch):
    monkeypatch.setattr(module, "WITHIN_S", -1.0)
    plan, job = proposal
    (row,) = chances(cast, plan)
    assert row.job == job
    assert row.after is None
    assert not row.falls
    assert "not computed" in text_of(office(cast).get(reverse("plan-chances", args=[plan.pk])))


def test_a_fall_is_more_than_what_chance_alone_does(cast: Cast, proposal):
    _plan, job = proposal
    assert module.PromiseChance(job, 0.9, 0.8).falls
    assert not module.PromiseChance(job, 0.9, 0.86).falls
    assert not module.PromiseChance(job, None, 0.1).falls


def test_roles_and_neighbours(cast: Cast, proposal):
    plan, _job = proposal
    path = reverse("plan-chances", args=[plan.pk])
    assert client_of(cast.own.crew_lead).get(path).status_code == 403
    assert client_of(cast.other.office).get(path).status_code == 404
