"""What initial and final set mean: ASTM C403, C191, C150, C494, NT BUILD 476, Schindler (2003)."""

from __future__ import annotations

from jobs.physics import constants
from jobs.physics.units import convert
from tests.published.rows import Record, Row, Runs, agree, every_row


def psi(megapascal: float) -> float:
    """As the US method prints it, to the next 100 psi."""
    return round(float(convert(megapascal, "MPa", "psi")), -2)


RUNS: Runs = {
    "SET-C403-I": lambda row: psi(constants.INITIAL_SET_MPA),
    "SET-C403-F": lambda row: psi(constants.FINAL_SET_MPA),
    "SET-C403-ISI": lambda row: constants.INITIAL_SET_MPA,
    "SET-C403-FSI": lambda row: constants.FINAL_SET_MPA,
    "SET-C191-I": lambda row: constants.VICAT_INITIAL_MM,
    "SET-C150-I": lambda row: constants.VICAT_LIMITS_MIN[0],
    "SET-C150-F": lambda row: constants.VICAT_LIMITS_MIN[1],
    "SET-NT476": lambda row: constants.HEAT_AT_INITIAL_SET_KJ_KG,
    "SET-SCH-I": lambda row: constants.HYDRATION_AT_SET[0],
    "SET-SCH-F": lambda row: constants.HYDRATION_AT_SET[1],
    "SET-C494-1": lambda row: constants.ADMIXTURE_SHIFT_MIN,
    "SET-C494-2": lambda row: constants.ADMIXTURE_SHIFT_MIN,
}


@every_row(RUNS)
def test_the_definitions_are_kept(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)
