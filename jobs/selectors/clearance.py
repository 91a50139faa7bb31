"""May the drain of this pool be issued? Never a judgement on groundwater: only whether a record stands."""

from __future__ import annotations

import datetime as dt
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
    record = SiteLog.objects.filter(job=job, kind=LogKind.GROUNDWATER).order_by("at").last()
    if record is None:
        return Clearance(False, "No groundwater record: measured level or licensed opinion, and the relief valve.")
    if now - record.at > dt.timedelta(days=VALID_DAYS):
        return Clearance(False, f"The groundwater record of {record.at:%a %-d %b} is older than 7 days.", record)
    later = SiteLog.objects.filter(job=job, kind=LogKind.DIFFERENT, at__gt=record.at, data__has_key="rain_mm")
    rain = sum(float(log.data["rain_mm"]) for log in later)
    if rain >= RAIN_MM:
        return Clearance(False, f"{rain:.0f} mm of rain since the groundwater record: record it again.", record)
    return Clearance(
        True, f"Recorded {record.at:%a %-d %b} by {record.by}. Local codes and licensed practice decide.", record
    )
