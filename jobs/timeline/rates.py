"""Production rates of a firm: trade defaults, each a setting. All common practice, no source, unless marked.

`Rates` is what the stages and quantities compute with; `RATE_CATALOGUE` is what the firm's page shows and edits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Final

from jobs.physics.validity import sentence


@dataclass(frozen=True)
class RateEntry:
    """One editable rate: plain label, unit, allowed range, and where the default comes from."""

    label: str
    unit: str
    low: float
    high: float
    mark: str = "CP"


@dataclass(frozen=True)
class Rates:
    """Rates of one firm, SI; hours are person-hours where the label says so."""

    strip_m2_h: float = 2.5
    chip_loose_m2_h: float = 4.0
    tile_line_cut_m_h: float = 6.0
    taper_m2_h: float = 3.0
    paint_removal_m2_h: float = 6.0
    roughen_m2_h: float = 6.0
    wash_m2_h: float = 40.0
    prep_fixed_h: float = 3.0
    bond_m2_h: float = 45.0
    laying_m2_h: float = 48.0
    trowel_m2_h: float = 40.0
    drain_setup_h: float = 1.5
    drain_pull_h: float = 1.0
    fill_start_h: float = 1.0
    coat_thickness_mm: float = 12.0
    batch_cement_kg: float = 42.6
    batch_aggregate_kg: float = 68.0
    batch_water_kg: float = 21.0
    waste_share: float = 0.08
    bond_coat_kg_m2: float = 3.6
    reference_set_h: float = 3.5
    production_cv: float = 0.20


RATE_CATALOGUE: Final[Mapping[str, RateEntry]] = {
    "strip_m2_h": RateEntry("Stripping to the shell, one person", "m²/h", 0.2, 40.0),
    "chip_loose_m2_h": RateEntry("Chipping loose plaster, one person", "m²/h", 0.2, 40.0),
    "tile_line_cut_m_h": RateEntry("Saw cut at the tile line, one person", "m/h", 0.5, 60.0),
    "taper_m2_h": RateEntry("Chipping the taper below the cut, one person", "m²/h", 0.2, 40.0),
    "paint_removal_m2_h": RateEntry("Taking paint off, one person", "m²/h", 0.2, 60.0),
    "roughen_m2_h": RateEntry("Roughening what stays, one person", "m²/h", 0.5, 100.0),
    "wash_m2_h": RateEntry("Washing down, one person", "m²/h", 2.0, 400.0),
    "prep_fixed_h": RateEntry("Setting up, fittings and clearing, person-hours a pool", "h", 0.0, 40.0),
    "bond_m2_h": RateEntry("Bond coat, the crew", "m²/h", 2.0, 400.0),
    "laying_m2_h": RateEntry("Laying plaster, the crew", "m²/h", 5.0, 200.0),
    "trowel_m2_h": RateEntry("One trowel pass, one finisher", "m²/h", 5.0, 200.0),
    "drain_setup_h": RateEntry("Setting up the pump", "h", 0.5, 8.0),
    "drain_pull_h": RateEntry("Pulling the pump", "h", 0.5, 8.0),
    "fill_start_h": RateEntry("Starting a fill", "h", 0.5, 8.0),
    "coat_thickness_mm": RateEntry("Thickness of a coat", "mm", 6.0, 30.0),
    "batch_cement_kg": RateEntry("White cement in a batch", "kg", 5.0, 500.0),
    "batch_aggregate_kg": RateEntry("Marble or quartz fines in a batch", "kg", 5.0, 1000.0),
    "batch_water_kg": RateEntry("Water in a batch", "kg", 2.0, 300.0),
    "waste_share": RateEntry("Waste, share of the plaster", "", 0.0, 0.5),
    "bond_coat_kg_m2": RateEntry("Bond coat, dry material (usual 2.4 to 6.1)", "kg/m²", 0.1, 10.0),
    "reference_set_h": RateEntry("Initial set at 23 °C from mixing", "h", 1.0, 12.0),
    "production_cv": RateEntry("Spread of production times (1 = 100 %)", "", 0.02, 1.0),
}


def rates_of(own: Mapping[str, float]) -> Rates:
    """The defaults with a firm's own figures put in.

    Raises
    ------
    ValueError
        For a name that is no rate, or a value outside its allowed range.
    """
    known = {field.name for field in fields(Rates)}
    for name, value in own.items():
        if name not in known:
            raise ValueError(f"{name} is not a rate; allowed are {', '.join(sorted(known))}.")
        entry = RATE_CATALOGUE[name]
        if not entry.low <= value <= entry.high:
            raise ValueError(sentence(entry.label, value, entry.low, entry.high, entry.unit))
    return replace(Rates(), **own)
