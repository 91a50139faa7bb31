"""What was logged of a plaster day, as the clock needs it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from zoneinfo import ZoneInfo

from jobs.models import Job, LogKind, SiteLog
from jobs.selectors.site_logs import logs_standing
from jobs.timeline.plaster_job import PlasterJob
from scheduling.models import Stint

KINDS = (LogKind.LAID, LogKind.PASS, LogKind.READING)


def plaster_logs(job: Job, stint: Stint) -> list[SiteLog]:
    """Entries of the day that stand."""
    return logs_standing(job, KINDS, since=stint.starts - dt.timedelta(hours=24))


def clock_h(at: dt.datetime, zone: ZoneInfo) -> float:
    """Clock time in hours."""
    local = at.astimezone(zone)
    return local.hour + local.minute / 60 + local.second / 3600


def day_h(at: dt.datetime, day: dt.date, zone: ZoneInfo) -> float:
    """Clock time in hours of a day, more than 24 after its midnight."""
    return (at.astimezone(zone).date() - day).days * 24 + clock_h(at, zone)


def done_h(
    passed: Mapping[tuple[int, int], dt.datetime], work: PlasterJob, day: dt.date, zone: ZoneInfo
) -> dict[tuple[int, int], float]:
    """Clock times of the passes that are done, of sections and passes that exist."""
    return {
        (number, section): day_h(at, day, zone)
        for (number, section), at in passed.items()
        if number <= len(work.passes) and section <= work.section_count
    }


def laid_at(logs: Sequence[SiteLog], work: PlasterJob) -> dict[int, dt.datetime]:
    """When each section was finished, by the last entry for it."""
    found = {int(log.data["section"]): log.at for log in logs if log.kind == LogKind.LAID and "section" in log.data}
    return {number: at for number, at in found.items() if 1 <= number <= work.section_count}


def mixed_h(laid: Mapping[int, dt.datetime], work: PlasterJob, zone: ZoneInfo) -> dict[int, float]:
    """Clock times of mixing from the times of laying; sections still to come follow the last one laid.

    A section counts as mixed one section's laying time before it was finished.
    """
    if not laid:
        return {}
    each = work.laying_h / work.section_count
    mixed = {number: max(0.0, clock_h(at, zone) - each) for number, at in laid.items()}
    last = max(laid)
    for number in range(last + 1, work.section_count + 1):
        mixed[number] = min(24.0, mixed[last] + (number - last) * each)
    for number in range(last - 1, 0, -1):  # one that nobody tapped
        mixed.setdefault(number, max(0.0, mixed[number + 1] - each))
    return mixed


def passed_at(logs: Sequence[SiteLog]) -> dict[tuple[int, int], dt.datetime]:
    """When each (pass, section) was done, by the last entry for it."""
    return {
        (int(log.data["pass"]), int(log.data["section"])): log.at
        for log in logs
        if log.kind == LogKind.PASS and "pass" in log.data and "section" in log.data
    }


def readings_h(logs: Sequence[SiteLog], day: dt.date, zone: ZoneInfo) -> tuple[tuple[float, float], ...]:
    """Clock times and temperatures of the material read on the day."""
    return tuple(
        (clock_h(log.at, zone), float(log.data["material_c"]))
        for log in logs
        if log.kind == LogKind.READING and log.at.astimezone(zone).date() == day
    )
