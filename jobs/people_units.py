"""Quantities as people read them: in the firm's units, with the unit, without false precision.

Inside everything is SI; this is the one place where a number becomes a text with a unit on it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from jobs.physics.units import convert
from shared.models.firm import Units

SPACE: Final = "\N{NO-BREAK SPACE}"


@dataclass(frozen=True)
class Shown:
    """How one quantity is shown in one set of units: unit of `convert`, its sign on screen, decimals."""

    unit: str
    sign: str
    decimals: int


@dataclass(frozen=True)
class Quantity:
    """A quantity: the SI unit it is handed in, and how it is shown in each set of units."""

    si: str
    metric: Shown
    us: Shown

    def shown(self, units: str) -> Shown:
        return self.metric if units == Units.METRIC else self.us


QUANTITIES: Final[Mapping[str, Quantity]] = MappingProxyType(
    {
        "metres": Quantity("m", Shown("m", "m", 1), Shown("ft", "ft", 1)),
        "millimetres": Quantity("mm", Shown("mm", "mm", 0), Shown("in", "in", 2)),
        "distance": Quantity("m", Shown("km", "km", 0), Shown("mi", "mi", 0)),
        "area": Quantity("m2", Shown("m2", "m²", 0), Shown("ft2", "sq ft", 0)),
        "volume": Quantity("m3", Shown("m3", "m³", 1), Shown("gal", "gal", -2)),
        "litres": Quantity("L", Shown("L", "L", 1), Shown("gal", "gal", 1)),
        "mass": Quantity("kg", Shown("kg", "kg", 0), Shown("lb", "lb", 0)),
        "temperature": Quantity("C", Shown("C", "°C", 0), Shown("F", "°F", 0)),
        "temperature_step": Quantity("delta C", Shown("delta C", "°C", 0), Shown("delta F", "°F", 0)),
        "flow": Quantity("L/min", Shown("L/min", "L/min", 0), Shown("gpm", "gal/min", 1)),
        "rain": Quantity("mm", Shown("mm", "mm", 0), Shown("in", "in", 1)),
        "wind": Quantity("m/s", Shown("km/h", "km/h", 0), Shown("mph", "mph", 0)),
        "drying": Quantity("kg/m2/h", Shown("kg/m2/h", "kg/m²/h", 1), Shown("lb/ft2/h", "lb/sq ft/h", 2)),
        "pressure": Quantity("kPa", Shown("kPa", "kPa", 0), Shown("psi", "psi", 0)),
    }
)


def said(quantity: str, value: float | None, units: str, decimals: int | None = None) -> str:
    """The value with its unit in the firm's units ("us" or "metric"); "unknown" where there is none."""
    if value is None or not math.isfinite(value):
        return _("unknown")
    shown = QUANTITIES[quantity].shown(units)
    return f"{number(quantity, value, units, decimals)}{SPACE}{shown.sign}"


def number(quantity: str, value: float, units: str, decimals: int | None = None) -> str:
    """The same without the unit; negative decimals round to tens, hundreds."""
    kind = QUANTITIES[quantity]
    shown = kind.shown(units)
    places = shown.decimals if decimals is None else decimals
    amount = round(float(convert(value, kind.si, shown.unit)), places)
    return str(number_format(amount + 0.0, max(0, places), force_grouping=abs(amount) >= 10_000))


def said_range(quantity: str, low: float | None, high: float | None, units: str) -> str:
    """Two values with one unit: "41 to 59 °F"; a single one where both read the same."""
    if low is None or high is None or not (math.isfinite(low) and math.isfinite(high)):
        return _("unknown")
    first, last = number(quantity, low, units), number(quantity, high, units)
    if first == last:
        return said(quantity, high, units)
    sign = QUANTITIES[quantity].shown(units).sign
    return _("%(low)s to %(high)s") % {"low": first, "high": f"{last}{SPACE}{sign}"}


def said_both(quantity: str, value: float | None, units: str) -> str:
    """In the firm's units and, in brackets, in the other set: for printed sheets."""
    other = Units.US if units == Units.METRIC else Units.METRIC
    first = said(quantity, value, units)
    return first if value is None else f"{first} ({said(quantity, value, other)})"


def chance(share: float | None) -> str:
    """A share as whole percent; never 0 or 100 where it is neither."""
    if share is None or not math.isfinite(share):
        return _("unknown")
    percent = round(100 * share)
    if share > 0 and percent == 0:
        percent = 1
    if share < 1 and percent == 100:
        percent = 99
    return f"{percent}{SPACE}%"
