"""R. G. Allen et al. (1998), FAO Irrigation and Drainage Paper 56: vapour pressure and wind; textbook wind profiles."""

from __future__ import annotations

from jobs.physics.psychrometrics import (
    saturation_vapour_pressure_kpa,
    wind_at_2_m_m_s,
    wind_at_height_m_s,
    wind_by_power_law_m_s,
)
from tests.published.rows import Record, Row, Runs, agree, every_row


def log_profile(row: Row) -> float:
    return float(wind_at_height_m_s(1, row["from_m"], row["to_m"], row["z0_m"]))


def power_law(row: Row) -> float:
    return float(wind_by_power_law_m_s(1, row["from_m"], row["to_m"], row["alpha"]))


def to_two_metres(row: Row) -> float:
    return float(wind_at_2_m_m_s(row["uz"], row["z_m"]))


RUNS: Runs = {
    "EV-ESF": lambda row: float(saturation_vapour_pressure_kpa(row["T_C"])),
    "EV-WIND-1": to_two_metres,
    "EV-WIND-2": to_two_metres,
    "EV-WIND-3": log_profile,
    "EV-WIND-5": log_profile,
    "EV-WIND-6": power_law,
}


@every_row(RUNS)
def test_the_examples_are_reproduced(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)
