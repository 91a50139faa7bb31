"""The chart of a plaster day: how warm the material is and how far it has set, with their limits."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Final

import numpy as np
from django.utils.translation import gettext as _

from jobs.people_units import QUANTITIES, said
from jobs.physics.units import convert
from jobs.timeline.coat_course import CoatCourse
from scheduling.drawing.plot import Axis, Plot, steps
from scheduling.selectors.plaster_day import PlasterSheet
from scheduling.words import short_clock_words

FINAL: Final = 1.4  # of initial set, for the scale; the rule stands where the clock's own ratio says
SCALE: Final = 1.6


@dataclass(frozen=True)
class ChartRow:
    """One hour of the table beside the chart [C, share of initial set]; None before the section lies."""

    at: dt.datetime
    first_c: float | None
    air_c: float
    first_set: float | None
    last_set: float | None


@dataclass(frozen=True)
class DayChart:
    temperature: str
    set: str
    rows: tuple[ChartRow, ...]


def day_chart(sheet: PlasterSheet, units: str, now: dt.datetime) -> DayChart | None:
    """Both pictures and their table; None where the day is not timed."""
    if sheet.table is None or not sheet.courses:
        return None
    first, last = sheet.courses[0], sheet.courses[-1]
    low, high = float(np.floor(first.hours[0] - 0.5)), float(np.ceil(first.hours[-1]))
    axis = Axis(low, high, [(hour, _hour(sheet, hour, units)) for hour in range(int(low) + 1, int(high), 3)])
    here = (now.astimezone(sheet.table.midnight.tzinfo) - sheet.table.midnight) / dt.timedelta(hours=1)
    inside = here if sheet.is_today and low < here < high else None
    return DayChart(
        _temperature(sheet, first, axis, inside, units),
        _set(sheet, first, last, axis, inside),
        _rows(sheet, first, last),
    )


def _hour(sheet: PlasterSheet, hour: float, units: str) -> str:
    assert sheet.table is not None
    return short_clock_words(sheet.table.clock(hour), units).removesuffix(":00")


def _temperature(sheet: PlasterSheet, first: CoatCourse, axis: Axis, here: float | None, units: str) -> str:
    def shown(value: float) -> float:
        return float(convert(value, "C", QUANTITIES["temperature"].shown(units).unit))

    air = [(_since_midnight(sheet, row.air.at), row.air.temp_c) for row in sheet.hours]
    air = [(hour, value) for hour, value in air if axis.low <= hour <= axis.high]
    least, most = sheet.limits.air_min_c, sheet.limits.air_max_c
    values = [*first.coat_c, *(value for _at, value in air)]
    low, high = shown(min(*values, least) - 2), shown(max(*values, most if max(values) > most - 12 else -99.0) + 3)
    plot = Plot(axis, Axis(low, high, [(value, f"{value:g}") for value in steps(low, high, 5)]))
    plot.rule_y(shown(least), _("least for the air"), "limit")
    if shown(most) < high:
        plot.rule_y(shown(most), _("most for the air"), "limit")
    plot.curve([(hour, shown(value)) for hour, value in air], "air")
    plot.curve([(hour, shown(value)) for hour, value in zip(first.hours, first.coat_c, strict=True)], "")
    if here is not None:
        plot.rule_x(here, _("now"))
    desc = _("Material of section 1 between %(low)s and %(high)s; air between %(cold)s and %(warm)s.") % {
        "low": said("temperature", float(first.coat_c.min()), units),
        "high": said("temperature", float(first.coat_c.max()), units),
        "cold": said("temperature", min(value for _at, value in air) if air else least, units),
        "warm": said("temperature", max(value for _at, value in air) if air else most, units),
    }
    sign = QUANTITIES["temperature"].shown(units).sign
    return plot.svg("warm", title=_("Temperature of the material, %(unit)s") % {"unit": sign}, desc=desc)


def _set(sheet: PlasterSheet, first: CoatCourse, last: CoatCourse, axis: Axis, here: float | None) -> str:
    assert sheet.table is not None
    plot = Plot(axis, Axis(0.0, SCALE, [(0.0, "0"), (0.5, "½"), (1.0, "1"), (1.5, "1½")]))
    for one in sheet.table.passes:
        plot.area((one.due_h, one.until_h), (0.0, SCALE), "aim" if one.number % 2 else "spread")
    plot.rule_y(1.0, _("initial set"), begin=True)
    plot.rule_y(FINAL, _("final set"), begin=True)
    for course, kind in ((first, ""), (last, "ahead")):
        told = course.set_share <= SCALE
        plot.curve(list(zip(course.hours[told], course.set_share[told], strict=True)), kind)
    if axis.low < sheet.table.dusk_h < axis.high:
        plot.rule_x(sheet.table.dusk_h, _("dark"), "limit", row=1)
    if here is not None:
        plot.rule_x(here, _("now"))
    desc = "; ".join(
        _("pass %(n)d from %(due)s until %(until)s")
        % {
            "n": one.number,
            "due": short_clock_words(sheet.table.clock(one.due_h), "metric"),
            "until": short_clock_words(sheet.table.clock(one.until_h), "metric"),
        }
        for one in sheet.table.passes
    )
    return plot.svg("set", title=_("How far it has set: 1 is initial set"), desc=desc)


def _since_midnight(sheet: PlasterSheet, at: dt.datetime) -> float:
    assert sheet.table is not None
    return (at - sheet.table.midnight) / dt.timedelta(hours=1)


def _rows(sheet: PlasterSheet, first: CoatCourse, last: CoatCourse) -> tuple[ChartRow, ...]:
    def of(course: CoatCourse, values: np.ndarray, hour: float) -> float | None:
        inside = course.hours[0] <= hour <= course.hours[-1]
        return float(np.interp(hour, course.hours, values)) if inside else None

    rows = []
    for row in sheet.hours:
        hour = _since_midnight(sheet, row.air.at)
        if of(first, first.coat_c, hour) is not None:
            rows.append(
                ChartRow(
                    row.air.at,
                    of(first, first.coat_c, hour),
                    row.air.temp_c,
                    of(first, first.set_share, hour),
                    of(last, last.set_share, hour),
                )
            )
    return tuple(rows)
