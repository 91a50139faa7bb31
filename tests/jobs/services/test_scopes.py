from __future__ import annotations

from typing import Any

import pytest
from django.core.exceptions import ValidationError

from jobs.models import Job, JobState, Scope
from jobs.selectors.condition import scope_proposed, survey_latest
from jobs.selectors.quantities import scope_latest
from jobs.services.scopes import scope_agree
from jobs.services.states import job_move
from jobs.services.surveys import survey_record
from shared import clock
from shared.models import AuditEntry
from shared.tenancy.context import acting_for
from tests.cast import ONE_COAT, Cast, open_job


@pytest.fixture
def job(cast: Cast) -> Job:
    return open_job(cast.own, agreed=False)


def sounded(cast: Cast, job: Job, hollow_pct: Any, **more: Any) -> None:
    """A survey of the empty pool."""
    answers = {**ONE_COAT, "hollow_share": hollow_pct, **more}
    survey_record(job.pool, answers=answers, by=cast.own.office, at=clock.now(), dry=True)


def test_a_scope_needs_a_survey(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        job.pool.surveys.all().delete()
        with pytest.raises(ValidationError, match="Survey the pool first"):
            scope_agree(job, by=cast.own.office)


def test_the_agreed_scope_keeps_what_decided_it(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        survey = survey_latest(job.pool)
        decision = scope_proposed(job, survey)
        scope = scope_agree(job, by=cast.own.office)
        job.refresh_from_db()
        assert job.state == JobState.SCOPE_AGREED
        assert (scope.kind, scope.survey, scope.agreed_by, scope.overruled) == (
            decision.kind,
            survey,
            "office of own",
            "",
        )
        assert scope.provisional  # nobody has sounded it dry
        assert scope.decided["decided_by"] == list(decision.decided_by)
        assert [other["kind"] for other in scope.decided["alternatives"]] == [o.kind for o in decision.alternatives]


@pytest.mark.parametrize("hollow_pct", [1, 5, 9, 10, 14, 30])
def test_between_5_and_15_percent_hollow_both_outcomes_are_kept(cast: Cast, job: Job, hollow_pct: float):
    """Common practice, no source: strip at 10 % or more; in between the doubt is shown."""
    with acting_for(cast.own.contractor.pk):
        sounded(cast, job, hollow_pct)
        scope = scope_agree(job, by=cast.own.office)
        kinds = {scope.kind, *(other["kind"] for other in scope.decided["alternatives"])}
        assert (scope.kind == "strip") is (hollow_pct >= 10)
        assert {"strip", "cut_and_taper"} <= kinds or not 5 <= hollow_pct <= 15
        assert not scope.provisional


def test_another_outcome_of_the_survey_is_taken_with_a_reason(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        sounded(cast, job, 9)
        assert scope_proposed(job, survey_latest(job.pool)).kind == "cut_and_taper"
        with pytest.raises(ValidationError, match="A scope other than the proposed one needs a reason"):
            scope_agree(job, by=cast.own.office, kind="strip", why="  ")
        assert not Scope.objects.exists()
        scope = scope_agree(job, by=cast.own.office, kind="strip", why="the pool owner wants it new")
        assert (scope.kind, scope.strip_share, scope.overruled) == ("strip", 1.0, "the pool owner wants it new")
        entry = AuditEntry.objects.get(what="scope agreed")
        assert entry.after == {"kind": "strip", "why": "the pool owner wants it new"}


def test_what_the_survey_does_not_show_is_no_scope(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        sounded(cast, job, 2)
        with pytest.raises(ValidationError, match="“remove_laminate” is not among the outcomes of this survey"):
            scope_agree(job, by=cast.own.office, kind="remove_laminate", why="because")


def test_a_displaced_crack_stops_every_scope_until_a_licensed_opinion(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        sounded(cast, job, 2, cracks="through")
        with pytest.raises(ValidationError, match="No scope before: Licensed structural opinion"):
            scope_agree(job, by=cast.own.office)
        job.refresh_from_db()
        assert job.state == JobState.SURVEYED


def test_the_newest_scope_counts(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        scope_agree(job, by=cast.own.office)
        sounded(cast, job, 40)
        second = scope_agree(job, by=cast.own.office)
        assert scope_latest(job) == second
        assert second.kind == "strip"
        job.refresh_from_db()
        assert job.state == JobState.SCOPE_AGREED


@pytest.mark.parametrize("hours", [-0.5, 501.0, float("nan"), float("inf")])
def test_absurd_hours_of_repairs_are_refused_with_the_range(cast: Cast, job: Job, hours: float):
    with acting_for(cast.own.contractor.pk):
        with pytest.raises(ValidationError, match="allowed is 0 to 500 h"):
            scope_agree(job, by=cast.own.office, repairs_h=hours)
        assert not Scope.objects.exists()


def test_a_long_reason_is_refused_and_not_cut(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        sounded(cast, job, 9)
        with pytest.raises(ValidationError, match="240"):
            scope_agree(job, by=cast.own.office, kind="strip", why="x" * 241)
        assert not Scope.objects.exists()


@pytest.mark.parametrize("state", ["filling", "first_month", "finished", "called_off"])
def test_no_scope_is_agreed_for_a_pool_that_is_filled_or_called_off(cast: Cast, job: Job, state: str):
    with acting_for(cast.own.contractor.pk):
        Job.objects.filter(pk=job.pk).update(state=state)
        job.refresh_from_db()
        with pytest.raises(ValidationError, match=r"The scope of a job that is “.*” stands"):
            scope_agree(job, by=cast.own.office)


def test_a_scope_agreed_again_does_not_move_a_job_back(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        scope_agree(job, by=cast.own.office)
        job_move(job, JobState.UNDER_WAY, by=cast.own.office)
        scope_agree(job, by=cast.own.office)
        job.refresh_from_db()
        assert job.state == JobState.UNDER_WAY
