from __future__ import annotations

import datetime as dt
from itertools import product

import pytest
from django.core.exceptions import ValidationError

from jobs.models import BandPoint, ExpectedDates, Job, JobState
from jobs.services.states import band_point_note, date_promise, job_move
from shared import clock
from shared.models import AuditEntry
from shared.tenancy.context import acting_for
from tests.cast import Cast, expect, open_job

# The life of a job as the office tells it; any open job may be called off.
LIFE = {
    ("surveyed", "scope_agreed"),
    ("scope_agreed", "date_promised"),
    ("scope_agreed", "under_way"),
    ("date_promised", "under_way"),
    ("date_promised", "scope_agreed"),
    ("under_way", "filling"),
    ("filling", "first_month"),
    ("first_month", "finished"),
}
CLOSED = {"finished", "called_off"}


def may(now: str, then: str) -> bool:
    return (now, then) in LIFE or (then == "called_off" and now not in CLOSED)


@pytest.fixture
def job(cast: Cast) -> Job:
    return open_job(cast.own)


def test_a_job_becomes_only_what_may_follow(cast: Cast, job: Job):
    wrong = []
    with acting_for(cast.own.contractor.pk):
        for now, then in product(JobState.values, JobState.values):
            Job.objects.filter(pk=job.pk).update(state=now)
            job.refresh_from_db()
            try:
                job_move(job, then, by="test")
                moved = True
            except ValidationError:
                moved = False
            job.refresh_from_db()
            if moved != (now == then or may(now, then)) or job.state != (then if moved else now):
                wrong.append((now, then, moved, job.state))
    assert wrong == []


def test_a_refused_move_says_both_states_in_words(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk), pytest.raises(ValidationError, match="“scope agreed” cannot become “fill"):
        job_move(job, JobState.FILLING, by="test")


def test_every_move_is_in_the_audit_trail_and_raises_the_version(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        before = job.version
        job_move(job, JobState.UNDER_WAY, by=cast.own.office)
        entry = AuditEntry.objects.filter(subject_id=job.pk, what="job state").latest("at")
        assert (entry.who, entry.before, entry.after) == (
            "office of own (office)",
            {"state": "scope_agreed"},
            {"state": "under_way"},
        )
        assert job.version == before + 1


def test_a_move_looks_at_the_job_as_it_is_kept_and_not_as_it_was_read(cast: Cast, job: Job):
    """A crew lead's phone knows the job from before the office called it off."""
    with acting_for(cast.own.contractor.pk):
        on_the_phone = Job.objects.get(pk=job.pk)
        job_move(job, JobState.CALLED_OFF, by=cast.own.office)
        with pytest.raises(ValidationError, match="“called off” cannot become “under way”"):
            job_move(on_the_phone, JobState.UNDER_WAY, by=cast.own.crew_lead)
        job.refresh_from_db()
        assert job.state == JobState.CALLED_OFF


def test_a_promise_keeps_the_band_of_its_moment(cast: Cast, job: Job):
    expected = expect(job, cast.own)
    with acting_for(cast.own.contractor.pk):
        day = dt.date.fromisoformat(expected.band["p90"])
        date_promise(job, day=day, by=cast.own.office)
        ExpectedDates.objects.filter(job=job).update(band={"p90": "2031-01-01"})
        job.refresh_from_db()
        assert (job.state, job.promised_date, job.promised_band) == (JobState.DATE_PROMISED, day, expected.band)
        entry = AuditEntry.objects.get(subject_id=job.pk, what="date promised")
        assert (entry.before, entry.after) == ({"promised_date": None}, {"promised_date": day.isoformat()})


@pytest.mark.parametrize("state", ["surveyed", "filling", "first_month", "finished", "called_off"])
def test_no_date_is_promised_before_the_scope_or_after_the_fill_began(cast: Cast, job: Job, state: str):
    with acting_for(cast.own.contractor.pk):
        Job.objects.filter(pk=job.pk).update(state=state)
        job.refresh_from_db()
        with pytest.raises(ValidationError, match="once the scope is agreed and until the fill begins"):
            date_promise(job, day=clock.now().date() + dt.timedelta(days=9), by=cast.own.office)
        job.refresh_from_db()
        assert (job.state, job.promised_date) == (state, None)


def test_a_date_in_the_past_is_refused_even_without_expected_dates(cast: Cast, job: Job):
    yesterday = clock.now().astimezone(job.site.tz).date() - dt.timedelta(days=1)
    with acting_for(cast.own.contractor.pk), pytest.raises(ValidationError, match=f"is {yesterday}; allowed is"):
        date_promise(job, day=yesterday, by=cast.own.office)


def test_the_band_is_kept_when_it_moved_and_not_when_it_stayed(cast: Cast, job: Job):
    first = {"p50": "2026-05-01", "p80": "2026-05-03", "p90": None}
    moved = {**first, "p50": "2026-05-02"}
    with acting_for(cast.own.contractor.pk):
        for hour, band in enumerate((first, first, moved, moved, first)):
            band_point_note(job, band, at=clock.now() + dt.timedelta(hours=hour), why="w" * 300)
        points = BandPoint.objects.filter(job=job).order_by("at")
        assert [str(point.p50) for point in points] == ["2026-05-01", "2026-05-02", "2026-05-01"]
        assert [point.p90 for point in points] == [None, None, None]
