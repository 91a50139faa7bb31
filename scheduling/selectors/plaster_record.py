"""A plaster day afterwards: planned against real, and what it says about the mix and the laying."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from jobs.models import LogKind, Outcome, SiteLog
from jobs.selectors.learned import firm_figures
from jobs.timeline.plaster_day import PlasterDay, plaster_day
from jobs.timeline.plaster_job import PlasterJob
from jobs.timeline.set_evidence import SetEvidence, set_evidence
from scheduling.models import Stint
from scheduling.selectors.plaster_logs import (
    clock_h,
    done_h,
    laid_at,
    mixed_h,
    passed_at,
    plaster_logs,
    readings_h,
)
from scheduling.selectors.plaster_work import plaster_job_of
from scheduling.selectors.site_weather import day_course
from shared.models import Firm

LEAST_SECTIONS: Final = 2  # taps of laying between which a rate can be seen


@dataclass(frozen=True)
class PassMade:
    """One pass over the pool: planned from the real mixing times, and as it was made; median minutes late."""

    number: int
    planned: dt.datetime
    made: dt.datetime
    late_min: float
    sections: int


@dataclass(frozen=True)
class DayRecord:
    """Planned against real of one plaster day. Hours of laying are None where too little was tapped."""

    day: dt.date
    planned_start: dt.datetime
    began: dt.datetime
    planned_laying_h: float
    laying_h: float | None
    passes: tuple[PassMade, ...]
    evidence: SetEvidence | None
    typical: bool = False  # timed with a usual year's weather: it says nothing about the mix

    def as_json(self) -> dict[str, Any]:
        """As an outcome keeps it: the weather of the day is not known for ever."""
        return {
            "day": self.day.isoformat(),
            "planned_start": self.planned_start.isoformat(),
            "began": self.began.isoformat(),
            "planned_laying_h": self.planned_laying_h,
            "laying_h": self.laying_h,
            "passes": [
                [one.number, one.planned.isoformat(), one.made.isoformat(), one.late_min, one.sections]
                for one in self.passes
            ],
            "evidence": None if self.evidence is None else list(self.evidence),
        }


def record_of(stint: Stint, firm: Firm) -> DayRecord | None:
    """The record as it was kept when the day was closed, else by what is known now."""
    kept = Outcome.objects.filter(stint_id=stint.pk, data__has_key="record").order_by("at", "what").last()
    if kept is not None:
        return _from_json(kept.data["record"])
    try:
        return day_record(stint, firm)
    except ValueError:  # taps that no day can have; the sheet itself says so
        return None


def _from_json(kept: dict[str, Any]) -> DayRecord:
    when = dt.datetime.fromisoformat
    passes = tuple(
        PassMade(number, when(planned), when(made), *rest) for number, planned, made, *rest in kept["passes"]
    )
    return DayRecord(
        day=dt.date.fromisoformat(kept["day"]),
        planned_start=when(kept["planned_start"]),
        began=when(kept["began"]),
        planned_laying_h=kept["planned_laying_h"],
        laying_h=kept["laying_h"],
        passes=passes,
        evidence=None if kept["evidence"] is None else SetEvidence(*kept["evidence"]),
    )


def day_record(stint: Stint, firm: Firm) -> DayRecord | None:
    """The record of a plaster stint, by the firm's figures without what was learned; None without taps or weather."""
    job = stint.job
    zone = job.site.tz
    logs = plaster_logs(job, stint)
    taps = [log for log in logs if log.kind in (LogKind.LAID, LogKind.PASS)]
    if not taps:
        return None
    day = min(log.at for log in taps).astimezone(zone).date()
    course = day_course(job.site, firm.source, dt.datetime.combine(day, dt.time(), zone))
    if course is None:
        return None
    work = plaster_job_of(job, stint, firm, course.sun_shift_days, firm_figures(firm))
    if work is None:
        return None
    laid, passed = laid_at(logs, work), done_h(passed_at(logs), work, day, zone)
    mixed = mixed_h(laid, work, zone)
    start_h = min([clock_h(stint.begins, zone), *mixed.values()])
    timed = plaster_day(day, start_h, work, course.weather, mixed_at_h=mixed, readings=readings_h(logs, day, zone))
    return DayRecord(
        day=day,
        planned_start=stint.starts.astimezone(zone),
        began=timed.clock(timed.sections[0].mixed_h),
        planned_laying_h=work.laying_h,
        laying_h=laying_took_h(logs, work, day),
        passes=_passes(timed, passed),
        evidence=set_evidence(timed, work.passes, passed) if timed.passes and not course.typical else None,
        typical=course.typical,
    )


def laying_took_h(logs: Sequence[SiteLog], work: PlasterJob, day: dt.date) -> float | None:
    """Hours that the whole surface takes at the pace between the first and the last section tapped."""
    laid = laid_at(logs, work)
    if len(laid) < LEAST_SECTIONS:
        return None
    first, last = min(laid), max(laid)
    hours = (laid[last] - laid[first]) / dt.timedelta(hours=1)
    return hours * work.section_count / (last - first) if hours > 0 else None


def _passes(timed: PlasterDay, passed: dict[tuple[int, int], float]) -> tuple[PassMade, ...]:
    rows = []
    for one in timed.passes:
        made = {section: hour for (number, section), hour in passed.items() if number == one.number}
        if not made:
            continue
        planned = [one.sections[section - 1].done_h for section in made]
        late = float(np.median([60 * (hour - one.sections[section - 1].done_h) for section, hour in made.items()]))
        rows.append(PassMade(one.number, timed.clock(max(planned)), timed.clock(max(made.values())), late, len(made)))
    return tuple(rows)
