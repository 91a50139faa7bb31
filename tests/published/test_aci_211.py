"""ACI 211.1, absolute volumes: yield, density, coverage, water in the coat, debris."""

from __future__ import annotations

import pytest

from jobs.physics import material
from jobs.physics.units import convert
from tests.published.rows import Record, Row, Runs, agree, every_row


def masses(row: Row) -> tuple[float, float, float, float]:
    cement, marble, water = convert([row["cement_lb"], row["marble_lb"], row["water_lb"]], "lb", "kg")
    return float(cement), float(marble), float(water), row["air"]


def yield_ft3(row: Row) -> float:
    return float(convert(material.batch_yield_m3(*masses(row)), "m3", "ft3"))


def density_lb_ft3(row: Row) -> float:
    return float(convert(material.fresh_density_kg_m3(*masses(row)), "kg/m3", "lb/ft3"))


def coverage_ft2(row: Row) -> float:
    volume, thickness = convert(row["yield_ft3"], "ft3", "m3"), convert(row["t_in"], "in", "mm")
    return float(convert(material.coverage_m2(volume, thickness), "m2", "ft2"))


def water_kg_m2(row: Row) -> float:
    volume, thickness = material.batch_yield_m3(*masses(row)), convert(row["t_in"], "in", "mm")
    return float(material.water_in_coat_kg_m2(masses(row)[2], volume, thickness))


def minutes_to_lose_a_tenth(row: Row) -> float:
    return 60 * float(material.hours_to_lose(0.1, water_kg_m2(row), convert(row["E"], "lb/ft2/h", "kg/m2/h")))


def debris_lb(row: Row) -> float:
    area, thickness = convert(row["A_ft2"], "ft2", "m2"), convert(row["t_in"], "in", "mm")
    density = float(convert(row["density"], "lb/ft3", "kg/m3"))
    assert material.debris_kg(area, thickness) == pytest.approx(material.debris_kg(area, thickness, density))
    return float(convert(material.debris_kg(area, thickness, density), "kg", "lb"))


def loose_yd3(row: Row) -> float:
    area, thickness = convert(row["A_ft2"], "ft2", "m2"), convert(row["t_in"], "in", "mm")
    assert row["swell"] == 1.5  # what the program takes unless told otherwise
    return float(convert(material.debris_loose_m3(area, thickness), "m3", "yd3"))


RUNS: Runs = {
    "MAT-Y": yield_ft3,
    "MAT-D": density_lb_ft3,
    "MAT-C": coverage_ft2,
    "MAT-WC-1": lambda row: float(convert(water_kg_m2(row), "kg/m2", "lb/ft2")),
    "MAT-WC-2": minutes_to_lose_a_tenth,
    "MAT-DEB": debris_lb,
    "MAT-BULK": loose_yd3,
}


@every_row(RUNS)
def test_batches_and_debris_are_reproduced(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)
