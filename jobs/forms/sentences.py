"""Refusals of the pure code, which speak metric, in the words and units of a form."""

from __future__ import annotations

import re
from typing import Final

from jobs.physics.units import convert
from shared.models.firm import Units

METRES: Final = re.compile(r"(?P<numbers>-?\d[\d.]*(?: to -?\d[\d.]*)*) (?P<unit>m2|m3|m)(?![\w²³])")


def in_units(sentence: str, units: str) -> str:
    """A sentence of the geometry, whose lengths, areas and volumes are metric, in the units that were typed."""
    if units == Units.METRIC:
        return sentence.replace(" m2", " m²").replace(" m3", " m³")
    to = {"m": ("ft", "ft"), "m2": ("ft2", "sq ft"), "m3": ("gal", "gal")}

    def said(match: re.Match[str]) -> str:
        unit, sign = to[match["unit"]]
        numbers = [f"{float(convert(float(n), match['unit'], unit)):.5g}" for n in match["numbers"].split(" to ")]
        return f"{' to '.join(numbers)} {sign}"

    return METRES.sub(said, sentence)
