"""The plaster-day sheet: sections and passes as clock times, what is due now, the air against its lines."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
from django.utils.translation import gettext as _

from jobs.models import Job, LogKind, SiteLog
from jobs.selectors.site_logs import taken_back
from jobs.timeline.coat_course import CoatCourse, coat_course
from jobs.timeline.limits import Limits
from jobs.timeline.plaster_day import PlasterDay, plaster_day, start_choices
from jobs.timeline.plaster_job import PlasterJob
from jobs.timeline.weather import HourlyWeather
from scheduling.models import Stint, StintState
from scheduling.selectors.plaster_logs import (
    KINDS,
    clock_h,
    done_h,
    laid_at,
    mixed_h,
    passed_at,
    plaster_logs,
    readings_h,
)
from scheduling.selectors.plaster_work import plaster_job_of, plaster_stint
from scheduling.selectors.site_weather import DayCourse, day_course
from scheduling.selectors.stop_lines import AirNow, Reached, StopLine, air_at, stop_lines
from shared.models import Firm

__all__ = ["PassCell", "PlasterSheet", "plaster_job_of", "plaster_sheet", "plaster_stint"]

READING_KEEPS: Final = dt.timedelta(hours=2)  # [CP] a reading of the material stands for so long
SHOWN_HOURS: Final = range(6, 21)
HOUR: Final = dt.timedelta(hours=1)


@dataclass(frozen=True)
class PassCell:
    """One pass over one section, in the site's zone; *done_at* once it is logged."""

    number: int
    section: int
    due: dt.datetime
    until: dt.datetime
    done_at: dt.datetime | None

    @property
    def key(self) -> tuple[int, int]:
        return self.number, self.section


@dataclass(frozen=True)
class SectionRow:
    number: int
    area_m2: float
    mixed: dt.datetime
    laid_at: dt.datetime | None
    final_set: dt.datetime
    passes: tuple[PassCell, ...]


@dataclass(frozen=True)
class PassRow:
    """One pass over the whole pool."""

    number: int
    due: dt.datetime
    until: dt.datetime
    done: int


@dataclass(frozen=True)
class Tap:
    """One entry of the day; *back_by* where it was taken back."""

    log: SiteLog
    back_by: str = ""


@dataclass(frozen=True)
class HourRow:
    """One hour of the day with the computed surface of the first section, and the sternest line it reaches."""

    air: AirNow
    reached: Reached


@dataclass(frozen=True)
class PlasterSheet:
    """All of one plaster day.

    why_not : in words why there is no table
    late : the planned start has passed and nothing is laid, so that times are those of a start now
    lines : the air of this moment against the firm's lines, on the day itself
    courses : temperature and set of the first and the last section
    taps : what was tapped, taken back or not
    """

    job: Job
    stint: Stint | None
    day: dt.date | None
    why_not: str = ""
    table: PlasterDay | None = None
    limits: Limits = field(default_factory=Limits)
    sections: tuple[SectionRow, ...] = ()
    passes: tuple[PassRow, ...] = ()
    due: tuple[PassCell, ...] = ()
    coming: PassCell | None = None
    next_section: int | None = None
    now: AirNow | None = None
    hours: tuple[HourRow, ...] = ()
    lines: tuple[StopLine, ...] = ()
    courses: tuple[CoatCourse, ...] = ()
    taps: tuple[Tap, ...] = ()
    best_start: dt.datetime | None = None
    readings: tuple[SiteLog, ...] = ()
    course: DayCourse | None = None
    finishers: int = 0
    is_today: bool = False
    begun: bool = False
    late: bool = False

    @property
    def area_m2(self) -> float:
        return sum(row.area_m2 for row in self.sections)

    @property
    def starts(self) -> dt.datetime | None:
        """When the first section is mixed, in the site's zone."""
        return None if self.table is None else self.table.clock(self.table.start_h)

    @property
    def last_pass(self) -> dt.datetime | None:
        """When the last pass is done, by the clock of the day."""
        return self._at("last_pass_h")

    @property
    def dark(self) -> dt.datetime | None:
        """Civil dusk: no light to trowel by."""
        return self._at("dusk_h")

    @property
    def too_dark(self) -> bool:
        """The last pass falls after dusk."""
        return self.last_pass is not None and self.dark is not None and self.last_pass > self.dark

    def _at(self, name: str) -> dt.datetime | None:
        hour = float("nan") if self.table is None else float(getattr(self.table, name))
        return self.table.clock(hour) if self.table is not None and np.isfinite(hour) else None

    @property
    def ready(self) -> dt.datetime | None:
        """When the last section is hard enough for water."""
        return self._at("ready_h")


def plaster_sheet(job: Job, firm: Firm, now: dt.datetime) -> PlasterSheet:
    """The sheet of the job's plaster day, re-timed by what was logged on site."""
    stint = plaster_stint(job)
    if stint is None:
        return PlasterSheet(job, None, None, _("No plaster day is issued for this job yet."))
    zone = job.site.tz
    logs = plaster_logs(job, stint)
    starts = min([stint.begins, *(log.at for log in logs if log.kind == LogKind.LAID)])
    day = starts.astimezone(zone).date()
    limits = Limits().tightened(**firm.limits)
    is_today = day == now.astimezone(zone).date()
    late = is_today and stint.state == StintState.ISSUED and not logs and starts < now
    bare = PlasterSheet(job, stint, day, limits=limits, is_today=is_today, late=late)
    starts = now if late else starts
    try:
        return _timed(bare, firm, starts, logs, now)
    except ValueError as refused:  # a pool, a rate or a reading that the timeline cannot take
        return _without(bare, str(refused))


def _without(sheet: PlasterSheet, why: str) -> PlasterSheet:
    return PlasterSheet(sheet.job, sheet.stint, sheet.day, why, limits=sheet.limits, is_today=sheet.is_today)


def _timed(
    sheet: PlasterSheet, firm: Firm, starts: dt.datetime, logs: Sequence[SiteLog], now: dt.datetime
) -> PlasterSheet:
    job, stint, day = sheet.job, sheet.stint, sheet.day
    assert stint is not None and day is not None
    zone = job.site.tz
    midnight = dt.datetime.combine(day, dt.time(), zone)
    course = day_course(job.site, firm.source, midnight)
    if course is None:
        return _without(sheet, _("No weather is known for this site yet."))
    work = plaster_job_of(job, stint, firm, course.sun_shift_days)
    if work is None:
        return _without(sheet, _("No scope is agreed for this job yet."))
    laid = laid_at(logs, work)
    passed = passed_at(logs)
    mixed = mixed_h(laid, work, zone)
    readings = readings_h(logs, day, zone)
    start_h = min([clock_h(starts, zone), *mixed.values()])
    begun = bool(laid) or stint.state != StintState.ISSUED
    table = plaster_day(
        day,
        start_h,
        work,
        course.weather,
        now=None if begun else now,
        mixed_at_h=mixed,
        readings=readings,
        passes_done=done_h(passed, work, day, zone),
    )
    sections = _sections(table, laid, passed, zone)
    courses = _courses(table, work, course.weather, readings)
    air = air_at(course.weather, now, _latest_reading(logs, now), _surface_c(courses, (now - midnight) / HOUR))
    open_cells = sorted((cell for row in sections for cell in row.passes if cell.done_at is None), key=_by_urgency)
    due = [cell for cell in open_cells if cell.due <= now]
    coming = [cell for cell in open_cells if cell.due > now]
    left = [row.number for row in sections if row.laid_at is None]
    return PlasterSheet(
        job=job,
        stint=stint,
        day=day,
        table=table,
        limits=sheet.limits,
        sections=sections,
        passes=_pass_rows(table, sections, zone),
        due=tuple(due),
        coming=min(coming, key=lambda cell: cell.due) if coming else None,
        next_section=left[0] if left else None,
        now=air,
        lines=stop_lines(air, sheet.limits, firm) if air is not None and sheet.is_today else (),
        hours=_hours(course.weather, midnight, courses, sheet.limits, firm),
        courses=courses,
        taps=_taps(job, stint),
        best_start=_best(day, work, course.weather, now, zone) if not table.allowed and not begun else None,
        readings=tuple(log for log in logs if log.kind == LogKind.READING),
        course=course,
        finishers=work.finishers,
        is_today=sheet.is_today,
        begun=begun,
        late=sheet.late,
    )


def _courses(
    table: PlasterDay, work: PlasterJob, weather: HourlyWeather, readings: tuple[tuple[float, float], ...]
) -> tuple[CoatCourse, ...]:
    """Temperature and set of the first and the last section; none where nothing is known."""
    if not table.passes:
        return ()
    mixed = dict.fromkeys((table.sections[0].mixed_h, table.sections[-1].mixed_h))
    return tuple(coat_course(table.day, at, work, weather, readings) for at in mixed)


def _surface_c(courses: Sequence[CoatCourse], hour: float) -> float | None:
    """Computed surface of the first section at an hour of the day; None before it lies or long after."""
    if not courses or not courses[0].hours.size or not courses[0].hours[0] <= hour <= courses[0].hours[-1]:
        return None
    return float(np.interp(hour, courses[0].hours, courses[0].surface_c))


def _hours(
    weather: HourlyWeather, midnight: dt.datetime, courses: Sequence[CoatCourse], limits: Limits, firm: Firm
) -> tuple[HourRow, ...]:
    rows = []
    for hour in SHOWN_HOURS:
        air = air_at(weather, midnight + hour * HOUR, None, _surface_c(courses, hour))
        if air is not None:
            rows.append(HourRow(air, stop_lines(air, limits, firm)[0].reached))
    return tuple(rows)


def _taps(job: Job, stint: Stint) -> tuple[Tap, ...]:
    """Newest first, with who took one back."""
    begin = stint.starts - dt.timedelta(hours=24)
    rows = SiteLog.objects.filter(job=job, kind__in=(*KINDS, LogKind.TAKEN_BACK), at__gte=begin)
    logs = list(rows.order_by("-at", "-taken_at", "-id"))
    back = taken_back(logs)
    return tuple(
        Tap(log, back[log.client_id].by if log.client_id in back else "")
        for log in logs
        if log.kind != LogKind.TAKEN_BACK
    )


def _by_urgency(cell: PassCell) -> tuple[dt.datetime, int, int]:
    return cell.until, cell.number, cell.section


def _best(
    day: dt.date, work: PlasterJob, weather: HourlyWeather, now: dt.datetime, zone: ZoneInfo
) -> dt.datetime | None:
    """The best hour of the day to begin; None where there is none, or it has passed."""
    best = start_choices(day, work, weather, now=now).best_h
    if best is None:
        return None
    at = (work.midnight(day) + dt.timedelta(hours=work.elapsed_h(day, best))).astimezone(zone)
    return at if at > now else None


def _sections(
    table: PlasterDay,
    laid: Mapping[int, dt.datetime],
    passed: Mapping[tuple[int, int], dt.datetime],
    zone: ZoneInfo,
) -> tuple[SectionRow, ...]:
    def local(at: dt.datetime | None) -> dt.datetime | None:
        return None if at is None else at.astimezone(zone)

    if not np.isfinite([section.final_set_h for section in table.sections]).all():
        return ()
    rows = []
    for section in table.sections:
        cells = tuple(
            PassCell(
                one.number,
                section.number,
                table.clock(one.sections[section.number - 1].due_h),
                table.clock(one.sections[section.number - 1].until_h),
                local(passed.get((one.number, section.number))),
            )
            for one in table.passes
        )
        rows.append(
            SectionRow(
                section.number,
                section.area_m2,
                table.clock(section.mixed_h),
                local(laid.get(section.number)),
                table.clock(section.final_set_h),
                cells,
            )
        )
    return tuple(rows)


def _pass_rows(table: PlasterDay, sections: Sequence[SectionRow], zone: ZoneInfo) -> tuple[PassRow, ...]:
    return tuple(
        PassRow(
            one.number,
            table.clock(one.due_h),
            table.clock(one.until_h),
            sum(row.passes[one.number - 1].done_at is not None for row in sections),
        )
        for one in table.passes
    )


def _latest_reading(logs: Sequence[SiteLog], now: dt.datetime) -> float | None:
    recent = [log for log in logs if log.kind == LogKind.READING and now - READING_KEEPS <= log.at <= now]
    return float(recent[-1].data["material_c"]) if recent else None
