"""ASHRAE Handbook of Fundamentals (2017), chapter 1, printed by psychrolib: vapour pressure and dew point."""

from __future__ import annotations

from jobs.physics.psychrometrics import dew_point_c, saturation_vapour_pressure_kpa
from tests.published.rows import Record, Row, Runs, agree, every_row

RUNS: Runs = {
    "EV-ES": lambda row: float(saturation_vapour_pressure_kpa(row["T_C"])),
    "EV-DP": lambda row: float(dew_point_c(row["T_C"], row["RH"])),
}


@every_row(RUNS)
def test_the_moist_air_of_the_handbook_is_reproduced(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)
