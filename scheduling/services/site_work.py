"""What an entry logged on site makes of the stints and of the job."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any, Final

from django.db import transaction

from jobs.models import Job, JobState, LogKind, SiteLog
from jobs.selectors.site_logs import logs_standing
from jobs.services.site_logs import log_take
from jobs.services.states import job_move
from scheduling.models import Stage, Stint, StintState
from scheduling.services.calendars import calendar_refresh
from scheduling.services.outcomes import outcomes_note
from scheduling.services.plans import drain_release, stint_mark, stint_unbegin
from shared import clock
from shared.models import Membership

PLASTER_TAPS: Final = (LogKind.LAID, LogKind.PASS, LogKind.READING, LogKind.TAKEN_BACK)
BEGINS: dict[tuple[str, str], str] = {(LogKind.LAID, ""): Stage.PLASTER, (LogKind.HOSE, "started"): Stage.FILL_START}


@transaction.atomic
def site_log(
    job: Job,
    *,
    kind: str,
    by: Membership,
    at: dt.datetime,
    data: dict[str, Any] | None = None,
    client_id: uuid.UUID | None = None,
    stint_id: uuid.UUID | None = None,
) -> tuple[SiteLog, bool]:
    """Keep one entry and let the work follow: the first section begins the plaster day, running water the fill."""
    data = data or {}
    entry, new = log_take(job, kind=kind, by=by, at=at, data=data, client_id=client_id, stint_id=stint_id)
    if not new:
        return entry, False
    stage = BEGINS.get((kind, str(data.get("action", ""))))
    if stage is not None:
        stint = stint_open(job, stage, StintState.ISSUED)
        if stint is not None:
            stint_mark(stint, StintState.BEGUN, at=at, by=by)
            _calendars(job)
    if kind == LogKind.GROUNDWATER and drain_release(job, by=by):
        _calendars(job)
    if kind == LogKind.TAKEN_BACK:
        _not_begun(job, entry, by)
    if kind in PLASTER_TAPS:
        over = stint_open(job, Stage.PLASTER, StintState.DONE)
        if over is not None:  # sent late, or taken back afterwards
            outcomes_note(over)
    return entry, True


def _not_begun(job: Job, entry: SiteLog, by: Membership) -> None:
    """The tap that began the plaster day is taken back: the stint waits again, if no other section is laid."""
    was = entry.data["was"]
    if was["kind"] != LogKind.LAID or logs_standing(job, (LogKind.LAID,)):
        return
    stint = stint_open(job, Stage.PLASTER, StintState.BEGUN)
    if stint is not None and stint.begun_at == dt.datetime.fromisoformat(was["at"]):
        stint_unbegin(stint, by=by)


@transaction.atomic
def work_done(
    stint: Stint, *, hours: float | None, by: Membership, at: dt.datetime, client_id: uuid.UUID
) -> tuple[SiteLog, bool]:
    """The stint is done, with the hours it took; sent twice it is done once."""
    data: dict[str, Any] = {"stage": stint.key}
    if hours is not None:
        data["hours"] = hours
    entry, new = log_take(stint.job, kind=LogKind.DONE, by=by, at=at, data=data, client_id=client_id, stint_id=stint.pk)
    if new and stint.state != StintState.DONE:
        stint_mark(stint, StintState.DONE, at=at, by=by, hours=hours)
        _calendars(stint.job)
    return entry, new


@transaction.atomic
def pool_full(job: Job, *, by: Membership, at: dt.datetime, client_id: uuid.UUID) -> tuple[SiteLog, bool]:
    """The water stands at the middle of the tile: the fill has ended and the first month begins."""
    end = stint_open(job, Stage.FILL_END, StintState.ISSUED, StintState.BEGUN, StintState.PROPOSED)
    entry, new = log_take(
        job,
        kind=LogKind.LEVEL,
        by=by,
        at=at,
        data={"below_full_mm": 0.0, "full": True},
        client_id=client_id,
        stint_id=None if end is None else end.pk,
    )
    if not new or job.state not in (JobState.UNDER_WAY, JobState.FILLING):
        return entry, new
    for stage in (Stage.PLASTER, Stage.FILL_START):
        before = stint_open(job, stage, StintState.ISSUED, StintState.BEGUN)
        if before is not None:
            stint_mark(before, StintState.DONE, at=at, by=by)
    if end is not None and end.state != StintState.PROPOSED:
        end.job = job
        stint_mark(end, StintState.DONE, at=at, by=by)
    else:
        if job.state == JobState.UNDER_WAY:
            job_move(job, JobState.FILLING, by=by)
        job_move(job, JobState.FIRST_MONTH, by=by, filled_on=at.astimezone(job.site.tz).date())
    _calendars(job)
    return entry, new


def _calendars(job: Job) -> None:
    """Subscribers see at once what was begun and done."""
    calendar_refresh(job.contractor, [job], at=clock.now())


def stint_open(job: Job, stage: str, *states: str) -> Stint | None:
    """The stint of a stage, if it is in one of these states."""
    found = Stint.objects.filter(job=job, stage=stage, state__in=states).select_related("job__site").first()
    if found is not None:
        found.job = job
    return found
