"""The groundwater record of a job. It clears nothing by itself: it only lets the office issue the drain."""

from __future__ import annotations

from typing import Any

from django.db import transaction

from jobs.models import Job, LogKind
from jobs.services.site_logs import log_take
from scheduling.services.calendars import calendar_refresh
from scheduling.services.plans import drain_release
from shared import clock
from shared.models import Contractor, Membership


@transaction.atomic
def groundwater_record(contractor: Contractor, job: Job, *, by: Membership, data: dict[str, Any]) -> int:
    """Keep what was measured, or who gave the licensed opinion; returns how many held drain stints it issued."""
    log_take(job, kind=LogKind.GROUNDWATER, by=by, data=data)
    released = drain_release(job, by=by)
    if released:
        calendar_refresh(contractor, [job], at=clock.now())
    return released
