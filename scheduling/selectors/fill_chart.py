"""The level of a fill over time: what was read, where it goes, and when somebody must be there."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.utils.translation import gettext as _

from scheduling.drawing.plot import Axis, Plot
from scheduling.selectors.fill_watch import FillSheet
from scheduling.words import clock_words, short_clock_words
from shared.models.firm import Units

HOUR = dt.timedelta(hours=1)


@dataclass(frozen=True)
class LevelRow:
    """One row of the table: share of the water by a moment, read or expected."""

    at: dt.datetime
    share: float
    read: bool
    words: str = ""

    @property
    def percent(self) -> int:
        return round(100 * self.share)


@dataclass(frozen=True)
class LevelChart:
    svg: str
    rows: tuple[LevelRow, ...]


def level_chart(sheet: FillSheet, units: str, now: dt.datetime) -> LevelChart | None:
    """The picture with its rows; None before water runs and where nothing is computed."""
    if sheet.started is None or not sheet.started_known or sheet.state not in ("running", "stopped"):
        return None
    begin = sheet.started
    last = sheet.levels[-1].at if sheet.levels else begin
    end = sheet.full.p90 if sheet.full is not None else max(now, last) + 2 * HOUR

    def hour(at: dt.datetime) -> float:
        return (at - begin) / HOUR

    span = max(1.0, hour(end) * 1.04)
    plot = Plot(Axis(0.0, span, _ticks(begin, span, units)), Axis(0.0, 1.08, [(0.5, "50 %"), (1.0, "100 %")]))
    known = [(0.0, 0.0), *((hour(each.at), each.share) for each in sheet.levels if not each.doubted)]
    if sheet.end_stint is not None:
        there = sorted((max(0.0, hour(sheet.end_stint.starts)), max(0.0, hour(sheet.end_stint.ends))))
        plot.area((there[0], min(there[1], span)), (0.0, 1.08), "aim")
    plot.rule_y(1.0, _("full"))
    plot.curve(known, "")
    rows = [LevelRow(begin, 0.0, True, _("the water runs"))]
    rows += [
        LevelRow(each.at, each.share, True, _("does not count yet") if each.doubted else "") for each in sheet.levels
    ]
    if sheet.full is not None:
        full = [hour(sheet.full.p10), hour(sheet.full.p50), hour(sheet.full.p90)]
        at, share = known[-1]
        slow = _way(at, share, full[2], full[0])
        plot.between([(at, share, share), (full[0], slow, 1.0), (full[2], 1.0, 1.0)], "spread")
        plot.curve([known[-1], (full[1], 1.0)], "ahead")
        for when, words in (
            (sheet.full.p10, _("one in ten by")),
            (sheet.full.p50, _("even chance by")),
            (sheet.full.p90, _("9 in 10 by")),
        ):
            rows.append(LevelRow(when, 1.0, False, words))
    elif sheet.share_now is not None:
        plot.curve([known[-1], (hour(now), sheet.share_now)], "ahead")
    for each in sheet.levels:
        plot.mark((hour(each.at), each.share), shape="cross" if each.doubted else "dot")
    if 0 < hour(now) < span:
        plot.rule_x(hour(now), _("now"))
    desc = _("Water in the pool: %(percent)d %% at %(at)s.") % {
        "percent": round(100 * (sheet.share_now or 0.0)),
        "at": clock_words(now.astimezone(begin.tzinfo), units),
    }
    return LevelChart(plot.svg("level", title=_("Level of the water"), desc=desc), tuple(rows))


def _way(at: float, share: float, end: float, when: float) -> float:
    """Share at *when* on the straight way from (at, share) to full at *end*."""
    return share + (1.0 - share) * (when - at) / (end - at) if end > at else 1.0


def _ticks(begin: dt.datetime, span: float, units: str) -> list[tuple[float, str]]:
    """Clock times every so many whole hours; the weekday where a day begins."""
    step = next(each for each in (1, 2, 3, 6, 12, 24) if span / each <= 7)
    first = (begin + HOUR).replace(minute=0, second=0, microsecond=0)
    found = []
    for count in range(int(span) + 1):
        at = first + count * HOUR
        place = (at - begin) / HOUR
        if at.hour % step == 0 and place <= span:
            words = short_clock_words(at, units).removesuffix(":00")
            found.append((place, words + (_half(at) if units == Units.US else " h")))
    return found


def _half(at: dt.datetime) -> str:
    return " am" if at.hour < 12 else " pm"
