"""Entries of the site that stand: what was taken back stays on record, but nothing is computed from it."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Collection, Iterable

from django.db.models import QuerySet

from jobs.models import Job, LogKind, SiteLog


def logs_standing(jobs: Job | Iterable[Job], kinds: Collection[str], since: dt.datetime | None = None) -> list[SiteLog]:
    """Entries of these kinds in the order in which they happened, without those that were taken back; one query."""
    listed = [jobs] if isinstance(jobs, Job) else list(jobs)
    rows: QuerySet[SiteLog] = SiteLog.objects.filter(job__in=listed, kind__in=[*kinds, LogKind.TAKEN_BACK])
    if since is not None:
        rows = rows.filter(at__gte=since)
    return standing(rows.order_by("at", "taken_at", "id"))


def standing(logs: Iterable[SiteLog]) -> list[SiteLog]:
    """Without the entries that were taken back, and without the takings back."""
    found = list(logs)
    gone = {str(log.data.get("of")) for log in found if log.kind == LogKind.TAKEN_BACK}
    return [log for log in found if log.kind != LogKind.TAKEN_BACK and str(log.client_id) not in gone]


def taken_back(logs: Iterable[SiteLog]) -> dict[uuid.UUID, SiteLog]:
    """Which entries were taken back, by their client ids, and by which entry."""
    return {uuid.UUID(str(log.data["of"])): log for log in logs if log.kind == LogKind.TAKEN_BACK}
