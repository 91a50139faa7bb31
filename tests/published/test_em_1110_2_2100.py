"""Uplift of an empty shell: USACE EM 1110-2-2100 (2005) eq. 3-2 and Table 3-4, and Archimedes."""

from __future__ import annotations

from jobs.physics.constants import CONCRETE_KN_M3, WATER_KN_M3
from jobs.physics.figures import FIGURES
from jobs.physics.hydraulics import flotation_safety_factor, head_at_factor_m, water_to_keep_m
from jobs.physics.units import convert
from tests.published.rows import Record, Row, Runs, agree, every_row


def shell(row: Row) -> tuple[float, float]:
    return float(convert(row["Ws_lb"], "lbf", "kN")), float(convert(row["A_ft2"], "ft2", "m2"))


def factor(row: Row) -> float:
    return float(flotation_safety_factor(*shell(row), convert(row["h_ft"], "ft", "m")))


def head_ft(row: Row) -> float:
    return float(convert(head_at_factor_m(row["SF"], *shell(row)), "m", "ft"))


def water_ft(row: Row) -> float:
    inside, head = convert(row["A_in_ft2"], "ft2", "m2"), convert(row["h_ft"], "ft", "m")
    return float(convert(water_to_keep_m(row["SF"], *shell(row), float(inside), float(head)), "m", "ft"))


def pressure_psf(row: Row) -> float:
    return float(convert(WATER_KN_M3 * float(convert(row["h_ft"], "ft", "m")), "kPa", "psf"))


def slab_in(row: Row) -> float:
    """Thickness of concrete that weighs what the water pushes: factor 1 for a slab of one square metre."""
    head = convert(row["h_ft"], "ft", "m")
    assert flotation_safety_factor(WATER_KN_M3 * float(head), 1, head) == 1
    return float(convert(WATER_KN_M3 * float(head) / CONCRETE_KN_M3, "m", "in"))


RUNS: Runs = {
    "HYD-FS": factor,
    "HYD-H-1": head_ft,
    "HYD-H-2": head_ft,
    "HYD-H-3": water_ft,
    "HYD-SF-1": lambda row: FIGURES["uplift_usual"].value,
    "HYD-SF-2": lambda row: FIGURES["uplift_unusual"].value,
    "HYD-SF-3": lambda row: FIGURES["uplift_extreme"].value,
    "HYD-P-1": pressure_psf,
    "HYD-P-2": lambda row: WATER_KN_M3 * row["h_m"],
    "HYD-SLAB": slab_in,
}


@every_row(RUNS)
def test_uplift_is_reproduced(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)
