"""The first month of water as a running log, with what to do now and what must wait for what."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Literal

from jobs.models import Addition, Job, LogKind, SiteLog, WaterTest
from jobs.physics.additions import NAMES, Amount
from jobs.physics.water import saturation_index_field
from jobs.selectors.pools import pool_figures
from jobs.selectors.site_logs import logs_standing
from jobs.selectors.start_up_figures import start_up_settings
from jobs.selectors.water import HOSE, amount_of, method_of, start_up_day, test_of
from jobs.timeline.start_up import Day, Gate, attendances, day_plan, earliest_dates
from jobs.timeline.start_up_settings import LAST_DAY, StartUpSettings
from scheduling.models import Stage, Stint, StintState

DUST_CLEARED: Final = "cleared"


@dataclass(frozen=True)
class Line:
    """One entry of the log, in the site's zone."""

    at: dt.datetime
    kind: Literal["test", "addition", "brushed", "note"]
    row: Any
    amount: Amount | None = None
    name: str = ""
    expected: dict[str, Any] | None = None  # what the additions before a test should have made of the water
    field_index: float | None = None  # of a test, by the form with rounded factors


@dataclass(frozen=True)
class LogDay:
    day: dt.date
    number: int | None
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class StartUpSheet:
    """All of one start-up.

    number : day of the start-up, None before the pool is full
    latest : the newest test;  added_since : an addition after it, so that its advice is used up
    retest_at : not before this moment (site's zone)
    fill_water : the test of the hose from which the method follows
    next_visit : the next day by the method;  set_for : the issued visit that comes next, in the site's zone
    visits : days someone must come;  tests : all of them, oldest first, doubted ones too
    """

    job: Job
    number: int | None
    over: bool
    volume_m3: float
    latest: WaterTest | None
    added_since: Addition | None
    retest_at: dt.datetime | None
    fill_water: WaterTest | None
    gates: tuple[Gate, ...]
    plan: Day | None
    brushed_today: int
    dust_cleared_on: dt.date | None
    next_visit: dt.date | None
    log: tuple[LogDay, ...]
    visits: tuple[dt.date, ...] = ()
    settings: StartUpSettings = field(default_factory=StartUpSettings)
    tests: tuple[WaterTest, ...] = ()
    set_for: Stint | None = None

    @property
    def visit_days(self) -> tuple[int, ...]:
        """Days after the fill on which someone must come."""
        return tuple(day for day in attendances(self.settings) if day > 0)


def start_up_sheet(job: Job, now: dt.datetime) -> StartUpSheet:
    """The start-up of this job as of now."""
    zone = job.site.tz
    today = now.astimezone(zone).date()
    tests = list(WaterTest.objects.filter(job=job).order_by("at", "id"))
    additions = list(Addition.objects.filter(job=job).order_by("at", "id"))
    logs = logs_standing(job, (LogKind.BRUSHED, LogKind.NOTE))
    settings = start_up_settings()
    latest = tests[-1] if tests else None
    since = [row for row in additions if latest is None or row.at >= latest.at]
    number = None if job.filled_on is None else start_up_day(job, now)
    dust = _dust_cleared_on(logs, job)
    return StartUpSheet(
        job=job,
        number=number,
        over=number is not None and number > LAST_DAY,
        volume_m3=pool_figures(job.pool).volume_m3,
        latest=latest,
        added_since=since[-1] if since else None,
        retest_at=_retest_at(latest, since, job, settings),
        fill_water=next((test for test in tests if test.advice.get("of") == HOSE and not test.doubted), None),
        gates=_gates(job, today, tests, dust, settings),
        plan=None if number is None or number > LAST_DAY else day_plan(method_of(job), job.finish, settings)[number],
        brushed_today=sum(log.kind == LogKind.BRUSHED and log.at.astimezone(zone).date() == today for log in logs),
        dust_cleared_on=dust,
        next_visit=_next_visit(job, today, settings),
        visits=_visits(job, settings),
        settings=settings,
        tests=tuple(tests),
        set_for=_set_for(job, now),
        log=_log(job, tests, additions, logs),
    )


def _retest_at(
    latest: WaterTest | None, since: Sequence[Addition], job: Job, settings: StartUpSettings
) -> dt.datetime | None:
    if since:
        at = since[-1].at + dt.timedelta(hours=settings.retest_h)
    elif latest is not None and latest.advice.get("retest_at"):
        at = dt.datetime.fromisoformat(latest.advice["retest_at"])
    else:
        return None
    return at.astimezone(job.site.tz)


def _gates(
    job: Job, today: dt.date, tests: Sequence[WaterTest], dust: dt.date | None, settings: StartUpSettings
) -> tuple[Gate, ...]:
    if job.filled_on is None:
        return ()
    believed = []
    for row in tests:
        if not row.doubted and row.advice.get("of") != HOSE:
            row.at = row.at.astimezone(job.site.tz)
            believed.append(test_of(row))
    return earliest_dates(
        job.filled_on,
        max(today, job.filled_on),
        method=method_of(job),
        finish=job.finish,
        tests=believed,
        dust_cleared_on=dust,
        settings=settings,
    )


def _expected(row: WaterTest, tests: Sequence[WaterTest], additions: Sequence[Addition]) -> dict[str, Any] | None:
    """What the last addition before a test of the pool was to make of the water; None where none came between."""
    if row.advice.get("of") == HOSE:
        return None
    before = [each.at for each in tests if each.at < row.at and not each.doubted and each.advice.get("of") != HOSE]
    since = max(before, default=None)
    between = [each for each in additions if each.at < row.at and (since is None or each.at >= since)]
    return (between[-1].predicted or {}).get("after") if between else None


def field_index(row: WaterTest) -> float | None:
    """The index by the field table's rounded factors; None where it cannot be computed."""
    if row.doubted:
        return None
    try:
        return float(
            saturation_index_field(
                row.temp_c,
                row.ph,
                row.calcium_hardness_mg_l,
                row.total_alkalinity_mg_l,
                row.tds_mg_l,
                row.cyanuric_acid_mg_l,
            )
        )
    except ValueError:
        return None


def _dust_cleared_on(logs: Sequence[SiteLog], job: Job) -> dt.date | None:
    """Since when no dust was found any more, by the latest brushing that says so."""
    since: dt.date | None = None
    for log in logs:
        if log.kind != LogKind.BRUSHED or "dust" not in log.data:
            continue
        if log.data["dust"] != DUST_CLEARED:
            since = None
        elif since is None:
            since = log.at.astimezone(job.site.tz).date()
    return since


def _next_visit(job: Job, today: dt.date, settings: StartUpSettings) -> dt.date | None:
    return next((day for day in _visits(job, settings) if day > today), None)


def _set_for(job: Job, now: dt.datetime) -> Stint | None:
    """The next visit of the issued plan, one of today included until it is over."""
    rows = Stint.objects.filter(job=job, stage=Stage.START_UP, state=StintState.ISSUED, ends__gt=now)
    found = rows.select_related("crew").order_by("starts").first()
    if found is not None:
        found.starts = found.starts.astimezone(job.site.tz)
    return found


def _visits(job: Job, settings: StartUpSettings) -> tuple[dt.date, ...]:
    """Days someone must come after the fill; none before the pool is full."""
    if job.filled_on is None:
        return ()
    return tuple(job.filled_on + dt.timedelta(days=day) for day in attendances(settings) if day > 0)


def _log(
    job: Job, tests: Sequence[WaterTest], additions: Sequence[Addition], logs: Sequence[SiteLog]
) -> tuple[LogDay, ...]:
    """Newest day first, within a day in order."""
    zone = job.site.tz
    lines = [
        Line(
            row.at.astimezone(zone),
            "test",
            row,
            expected=_expected(row, tests, additions),
            field_index=field_index(row),
        )
        for row in tests
    ]
    lines += [Line(row.at.astimezone(zone), "addition", row, amount_of(row), NAMES[row.substance]) for row in additions]
    lines += [Line(log.at.astimezone(zone), "brushed" if log.kind == LogKind.BRUSHED else "note", log) for log in logs]
    by_day: dict[dt.date, list[Line]] = defaultdict(list)
    for line in sorted(lines, key=lambda line: line.at):
        by_day[line.at.date()].append(line)
    return tuple(
        LogDay(day, None if job.filled_on is None else (day - job.filled_on).days, tuple(by_day[day]))
        for day in sorted(by_day, reverse=True)
    )
