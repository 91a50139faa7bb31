"""The states of a job and who moves it from one to the next."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from jobs.models import BandPoint, ExpectedDates, Job, JobState
from shared import clock
from shared.models import Membership
from shared.services.audit import audit_note
from shared.services.tokens import tokens_expire

LINKS_LAST = dt.timedelta(days=60)  # [CP] a pool owner's links after the job is finished or called off
FOLLOWS: dict[str, tuple[str, ...]] = {
    JobState.SURVEYED: (JobState.SCOPE_AGREED,),
    JobState.SCOPE_AGREED: (JobState.DATE_PROMISED, JobState.UNDER_WAY),
    JobState.DATE_PROMISED: (JobState.UNDER_WAY, JobState.SCOPE_AGREED),
    JobState.UNDER_WAY: (JobState.FILLING,),
    JobState.FILLING: (JobState.FIRST_MONTH,),
    JobState.FIRST_MONTH: (JobState.FINISHED,),
    JobState.FINISHED: (),
    JobState.CALLED_OFF: (),
}


@transaction.atomic
def job_move(job: Job, state: str, *, by: Membership | str, **fields: Any) -> Job:
    """Bring a job into its next state; any open job may be called off.

    The state that is kept counts, not the one *job* was read with: a phone may be behind the office.
    """
    job.state = Job.objects.select_for_update(no_key=True).values_list("state", flat=True).get(pk=job.pk)
    if state == job.state:
        return job
    allowed = FOLLOWS[job.state] + ((JobState.CALLED_OFF,) if job.is_open else ())
    if state not in allowed:
        raise ValidationError(
            _("A job that is “%(now)s” cannot become “%(then)s”.")
            % {"now": JobState(job.state).label, "then": JobState(state).label}
        )
    before = job.state
    job.state = state
    for name, value in fields.items():
        setattr(job, name, value)
    job.version = F("version") + 1
    job.save(update_fields=["state", "version", *fields])
    job.refresh_from_db(fields=["version"])
    audit_note(by, "job state", job, before={"state": before}, after={"state": state})
    if not job.is_open:
        tokens_expire(job.pk, "pool_owner", clock.now() + LINKS_LAST)
    return job


@transaction.atomic
def date_promise(job: Job, *, day: dt.date, by: Membership) -> Job:
    """Promise a fill day to the pool owner; the band of this moment is kept beside it."""
    if job.state not in (JobState.SCOPE_AGREED, JobState.DATE_PROMISED, JobState.UNDER_WAY):
        raise ValidationError(_("A date can be promised once the scope is agreed and until the fill begins."))
    expected = ExpectedDates.objects.filter(job=job).first()
    today = clock.now().astimezone(job.site.tz).date()
    first = today if expected is None else max(today, expected.first_day)
    if day < first:
        raise ValidationError(
            _("The promised date is %(day)s; allowed is %(first)s or later.")
            % {"day": day.isoformat(), "first": first.isoformat()}
        )
    before = {"promised_date": job.promised_date.isoformat() if job.promised_date else None}
    job.promised_date = day
    job.promised_at = clock.now()
    job.promised_band = expected.band if expected else None
    if job.state == JobState.SCOPE_AGREED:
        job.state = JobState.DATE_PROMISED
    job.version = F("version") + 1
    job.save(update_fields=["promised_date", "promised_at", "promised_band", "state", "version"])
    job.refresh_from_db(fields=["version"])
    audit_note(by, "date promised", job, before=before, after={"promised_date": day.isoformat()})
    return job


def band_point_note(job: Job, band: dict[str, Any], *, at: dt.datetime, why: str) -> None:
    """Keep how the band stands, where it differs from the last point."""
    last = BandPoint.objects.filter(job=job).order_by("at").last()
    days = {name: _day(band.get(name)) for name in ("p10", "p50", "p80", "p90")}
    if last is None or any(getattr(last, name) != day for name, day in days.items()):
        BandPoint.objects.create(job=job, at=at, why=why[:160], **days)


def _day(text: str | None) -> dt.date | None:
    return dt.date.fromisoformat(text) if text else None
