"""Sentences of the pure code, which speak metric, in the units of the reader."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

from jobs.physics.units import convert
from shared.models.firm import Units

FIGURES: Final = re.compile(
    r"(?P<numbers>-?\d[\d.]*(?: (?:to|and) -?\d[\d.]*)*) "
    r"(?P<unit>kg/m2/h|m/s|mm/day|m2|m3|mm|m|L/min|kPa|C)(?![\w²³/])"
)
US: Final[Mapping[str, tuple[str, str, str]]] = {  # unit: converted to, its sign, format
    "m": ("ft", "ft", ".4g"),
    "m2": ("ft2", "sq ft", ".4g"),
    "m3": ("gal", "gal", ".4g"),
    "mm": ("in", "in", ".2f"),
    "mm/day": ("in", "in/day", ".2f"),
    "C": ("F", "°F", ".0f"),
    "m/s": ("mph", "mph", ".0f"),
    "kg/m2/h": ("lb/ft2/h", "lb/sq ft/h", ".2f"),
    "L/min": ("gpm", "gal/min", ".3g"),
    "kPa": ("psi", "psi", ".3g"),
}
METRIC_SIGNS: Final = {"m2": "m²", "m3": "m³", "C": "°C", "kg/m2/h": "kg/m²/h"}


def in_units(sentence: str, units: str) -> str:
    """The sentence with its lengths, areas, temperatures and so on in US units, or with proper metric signs."""

    def said(match: re.Match[str]) -> str:
        unit, numbers = match["unit"], match["numbers"]
        if units == Units.METRIC:
            return f"{numbers} {METRIC_SIGNS.get(unit, unit)}"
        to, sign, form = US[unit]
        if unit == "C" and "dew point" in sentence:  # a difference
            unit, to = "delta C", "delta F"
        return f"{re.sub(NUMBER, lambda n: _converted(n.group(), unit, to, form), numbers)} {sign}"

    return FIGURES.sub(said, sentence)


NUMBER: Final = re.compile(r"-?\d[\d.]*")


def _converted(number: str, unit: str, to: str, form: str) -> str:
    start = "mm" if unit == "mm/day" else unit
    return f"{float(convert(float(number), start, to)):{form}}"
