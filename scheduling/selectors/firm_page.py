"""What the firm's pages show: crews in words, limits and rates beside their defaults and sources."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Final

from django.utils.dates import WEEKDAYS_ABBR
from django.utils.translation import gettext as _

from jobs.forms.clock import clock_text
from jobs.people_units import said
from jobs.physics.units import convert
from jobs.selectors.learned import firm_figures, firm_rates
from jobs.timeline.limits import LIMIT_CATALOGUE
from jobs.timeline.rates import RATE_CATALOGUE, Rates
from scheduling.models import Absence, Crew, Shift
from shared.models import Firm
from shared.models.firm import Units

MARKS: Final = {"P": "", "M": "from memory", "CP": "common practice, no source"}
QUANTITY_OF: Final = {"C": "temperature", "m/s": "wind", "kg/m2/h": "drying", "mm": "rain"}


@dataclass(frozen=True)
class CrewRow:
    """A crew with its week and its coming absences in words."""

    crew: Crew
    skills: str
    week: str
    absences: tuple[Absence, ...]


@dataclass(frozen=True)
class Setting:
    """One limit or rate: the value in force, the default, where it comes from; *in_use* where own work drew it."""

    name: str
    words: str
    value: str
    default: str
    own: bool
    source: str
    hard: bool = False
    in_use: str = ""


def crew_rows(today: dt.date, units: str) -> list[CrewRow]:
    """All crews, those at work first; three queries."""
    crews = Crew.objects.select_related("lead__person").prefetch_related("shifts", "absences")
    return [
        CrewRow(
            crew,
            ", ".join(crew.skills),
            week_words(list(crew.shifts.all()), units),
            tuple(sorted((a for a in crew.absences.all() if a.last_day >= today), key=lambda a: a.first_day)),
        )
        for crew in crews.order_by("-active", "branch", "name")
    ]


def week_words(shifts: Sequence[Shift], units: str) -> str:
    """ "Mon to Sat 7:00 am to 5:00 pm"; days with the same hours together."""
    hours: dict[int, str] = {}
    for shift in sorted(shifts, key=lambda each: (each.weekday, each.from_min)):
        span = _("%(start)s to %(end)s") % {
            "start": clock_text(shift.from_min, units),
            "end": clock_text(shift.to_min, units),
        }
        hours[shift.weekday] = f"{hours[shift.weekday]}, {span}" if shift.weekday in hours else span
    parts = []
    for _run, group in groupby(sorted(hours), key=lambda day: (hours[day], day - sorted(hours).index(day))):
        days = list(group)
        first, last = str(WEEKDAYS_ABBR[days[0]]), str(WEEKDAYS_ABBR[days[-1]])
        name = first if len(days) == 1 else _("%(first)s to %(last)s") % {"first": first, "last": last}
        parts.append(f"{name} {hours[days[0]]}")
    return "; ".join(parts) or _("no shifts")


def limits_in_force(firm: Firm) -> list[Setting]:
    """Every limit with its source or "common practice"."""
    return [
        Setting(
            name=name,
            words=limit.words[:1].upper() + limit.words[1:],
            value=_shown(name, limit.unit, float(firm.limits.get(name, limit.default)), firm.units),
            default=_shown(name, limit.unit, limit.default, firm.units),
            own=name in firm.limits,
            source=limit.source,
            hard=limit.hard,
        )
        for name, limit in LIMIT_CATALOGUE.items()
    ]


def _shown(name: str, unit: str, value: float, units: str) -> str:
    if unit == "as a fraction":
        return f"{100 * value:.0f} %"
    if name == "bond_above_dew_point_c":
        return said("temperature_step", value, units)
    if unit in QUANTITY_OF:
        return said(QUANTITY_OF[unit], value, units, 2 if unit in ("kg/m2/h", "mm") else None)
    if name in ("heat_half_from_h", "heat_half_to_h"):
        return clock_text(round(value * 60), units)
    return f"{value:g} {unit}"


def rates_in_force(firm: Firm) -> list[Setting]:
    """Every production rate, the firm's own beside the usual trade figure."""
    usual, in_use, figures = Rates(), firm_rates(firm), firm_figures(firm)
    return [
        Setting(
            name=name,
            words=entry.label,
            value=rate_words(entry.unit, float(firm.rates.get(name, getattr(usual, name))), firm.units),
            default=rate_words(entry.unit, getattr(usual, name), firm.units),
            own=name in firm.rates,
            source=MARKS[entry.mark],
            in_use=""
            if getattr(in_use, name) == getattr(figures, name)
            else rate_words(entry.unit, float(getattr(in_use, name)), firm.units),
        )
        for name, entry in RATE_CATALOGUE.items()
    ]


def rate_words(unit: str, value: float, units: str) -> str:
    """A rate with its unit, in the firm's units."""
    quantity, per = {
        "m²/h": ("area", "/h"),
        "m/h": ("metres", "/h"),
        "mm": ("millimetres", ""),
        "kg": ("mass", ""),
    }.get(unit, ("", ""))
    if quantity:
        return f"{said(quantity, value, units)}{per}"
    if unit == "kg/m²":
        us = float(convert(value, "kg/m2", "lb/ft2"))
        return f"{value:g} kg/m²" if units == Units.METRIC else f"{us:.2f} lb/sq ft"
    return f"{value:g} h" if unit == "h" else f"{100 * value:.0f} %"
