"""The water of the first month as pictures with the goals of each day, and the same as a table."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from jobs.models import WaterTest
from jobs.selectors.water import HOSE, method_of
from jobs.timeline.start_up_settings import LAST_DAY, Range, StartUpSettings, goals
from scheduling.drawing.plot import Axis, Plot, steps
from scheduling.selectors.start_up import StartUpSheet

DAYS: Final = (0, 7, 14, 21, 28)


@dataclass(frozen=True)
class WaterRow:
    """One test: day and moment in the site's zone; *doubted* ones are drawn as crosses and counted nowhere."""

    at: dt.datetime
    day: float
    row: WaterTest
    doubted: bool


@dataclass(frozen=True)
class WaterChart:
    pictures: tuple[tuple[str, str], ...]  # title and picture
    rows: tuple[WaterRow, ...]


@dataclass(frozen=True)
class _Quantity:
    """One picture: how a test reads, the goal of a day, and the least range of the axis."""

    name: str
    title: str
    read: Callable[[WaterTest], float | None]
    goal: Callable[[int], Range]
    least: Range
    show: Callable[[float], str]


PH_TITLE: Final = gettext_noop("pH")
ALKALINITY_TITLE: Final = gettext_noop("Total alkalinity, mg/L")
CALCIUM_TITLE: Final = gettext_noop("Calcium hardness, mg/L")
INDEX_TITLE: Final = gettext_noop("Saturation index")


def water_chart(sheet: StartUpSheet) -> WaterChart | None:
    """Four pictures over 28 days; None before the pool is full or without a test of its water."""
    job = sheet.job
    if job.filled_on is None:
        return None
    zone = job.site.tz
    begin = dt.datetime.combine(job.filled_on, dt.time(), zone)
    rows = tuple(
        WaterRow(row.at.astimezone(zone), (row.at - begin) / dt.timedelta(days=1), row, bool(row.doubted))
        for row in sheet.tests
        if row.advice.get("of") != HOSE and row.at >= begin
    )
    if not rows:
        return None
    return WaterChart(
        tuple((each.title, _picture(each, rows)) for each in _quantities(sheet.settings, method_of(job))), rows
    )


def _quantities(settings: StartUpSettings, method: Any) -> tuple[_Quantity, ...]:
    return (
        _Quantity(
            "ph", _(PH_TITLE), lambda row: row.ph, lambda day: goals(method, day, settings).ph, (6.8, 8.6), _tenth
        ),
        _Quantity(
            "alkalinity",
            _(ALKALINITY_TITLE),
            lambda row: row.total_alkalinity_mg_l,
            lambda day: goals(method, day, settings).alkalinity_mg_l,
            (0.0, 200.0),
            _whole,
        ),
        _Quantity(
            "calcium",
            _(CALCIUM_TITLE),
            lambda row: row.calcium_hardness_mg_l,
            lambda _day: settings.calcium_mg_l,
            (0.0, 450.0),
            _whole,
        ),
        _Quantity(
            "index", _(INDEX_TITLE), lambda row: row.index, lambda _day: settings.balanced_index, (-1.0, 1.0), _signed
        ),
    )


def _tenth(value: float) -> str:
    return f"{value:.1f}"


def _whole(value: float) -> str:
    return f"{value:.0f}"


def _signed(value: float) -> str:
    return "0" if abs(value) < 0.05 else f"{value:+.1f}".replace("-", "\N{MINUS SIGN}")


def _picture(one: _Quantity, rows: Sequence[WaterRow]) -> str:
    read = [(each, value) for each in rows if (value := one.read(each.row)) is not None]
    believed = [(each.day, value) for each, value in read if not each.doubted]
    low = min(one.least[0], *(value for _day, value in believed)) if believed else one.least[0]
    high = max(one.least[1], *(value for _day, value in believed)) if believed else one.least[1]
    plot = Plot(
        Axis(-0.5, LAST_DAY + 0.5, [(day, str(day)) for day in DAYS]),
        Axis(low, high + 0.05 * (high - low), [(value, one.show(value)) for value in steps(low, high, 4)]),
        height=140.0,
    )
    for first, last, (least, most) in _goal_spans(one.goal):
        plot.area((first, last), (max(low, least), most), "aim")
    plot.curve(believed, "")
    for each, value in read:
        plot.mark((each.day, value), shape="cross" if each.doubted else "dot")
    desc = "; ".join(
        _("day %(day)d: %(value)s") % {"day": int(day), "value": one.show(value)} for day, value in believed
    )
    return plot.svg(f"water-{one.name}", title=one.title, desc=desc or _("No believed test yet."))


def _goal_spans(goal: Callable[[int], Range]) -> list[tuple[int, int, Range]]:
    """Runs of days with one goal."""
    spans: list[tuple[int, int, Range]] = []
    for day in range(LAST_DAY + 1):
        if spans and spans[-1][2] == goal(day):
            spans[-1] = (spans[-1][0], day, spans[-1][2])
        else:
            spans.append((spans[-1][1] if spans else 0, day, goal(day)))
    return spans
