"""May the drain of this pool be issued? Never a judgement on groundwater: only whether a record stands."""

from __future__ import annotations

import datetime as dt
import uuid
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from jobs.models import Job, LogKind, SiteLog

VALID_DAYS: Final = 7  # [CP]
RAIN_MM: Final = 25.0  # [CP] rain after the record that ends it


@dataclass(frozen=True)
class Clearance:
    """Whether a groundwater record stands, and the sentence that says why or why not."""

    cleared: bool
    sentence: str
    record: SiteLog | None = None


def drain_clearance(job: Job, now: dt.datetime) -> Clearance:
    """The latest groundwater record, if it is young enough and no heavy rain came after it."""
    return drain_clearances([job], now)[job.pk]


def drain_clearances(jobs: Iterable[Job], now: dt.datetime) -> dict[uuid.UUID, Clearance]:
    """The same for many jobs, by job, in two queries."""
    listed = [job.pk for job in jobs]
    records = (
        SiteLog.objects.filter(job__in=listed, kind=LogKind.GROUNDWATER).order_by("job_id", "-at").distinct("job_id")
    )
    latest = {record.job_id: record for record in records}
    wet: dict[uuid.UUID, list[SiteLog]] = defaultdict(list)
    for log in SiteLog.objects.filter(job__in=list(latest), kind=LogKind.DIFFERENT, data__has_key="rain_mm"):
        if log.at > latest[log.job_id].at:
            wet[log.job_id].append(log)
    return {pk: _clearance(latest.get(pk), wet[pk], now) for pk in listed}


def _clearance(record: SiteLog | None, later: list[SiteLog], now: dt.datetime) -> Clearance:
    if record is None:
        return Clearance(False, "No groundwater record: measured level or licensed opinion, and the relief valve.")
    if now - record.at > dt.timedelta(days=VALID_DAYS):
        return Clearance(False, f"The groundwater record of {record.at:%a %-d %b} is older than 7 days.", record)
    rain = sum(float(log.data["rain_mm"]) for log in later)
    if rain >= RAIN_MM:
        return Clearance(False, f"{rain:.0f} mm of rain since the groundwater record: record it again.", record)
    return Clearance(
        True, f"Recorded {record.at:%a %-d %b} by {record.by}. Local codes and licensed practice decide.", record
    )
