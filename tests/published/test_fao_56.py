"""R. G. Allen et al. (1998), FAO Irrigation and Drainage Paper 56: vapour pressure and wind; textbook wind profiles."""

from __future__ import annotations

import numpy as np
import pytest

from jobs.physics.constants import WIND_LOG_OFFSET
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
    assert row["alpha"] == 1 / 7  # what the program takes unless told otherwise
    return float(wind_by_power_law_m_s(1, row["from_m"], row["to_m"]))


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


def test_the_wind_formula_is_the_profile_over_the_reference_grass() -> None:
    """FAO-56 takes grass of 0.12 m, with 2/3 of it as zero-plane displacement and 0.123 of it as roughness length."""
    displacement, roughness = 0.12 * 2 / 3, 0.12 * 0.123
    for height in (1.0, 2.0, 3.0, 10.0):
        profile = np.log((2 - displacement) / roughness) / np.log((height - displacement) / roughness)
        assert wind_at_2_m_m_s(1, height) == pytest.approx(profile, rel=5e-4)
    assert pytest.approx(displacement / roughness, rel=1e-3) == WIND_LOG_OFFSET
