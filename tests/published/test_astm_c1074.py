"""ASTM C1074 and its parents: Nurse and Saul, Freiesleben Hansen and Pedersen (1977)."""

from __future__ import annotations

from jobs.physics.setting import activation_energy_j_mol, maturity_c_h, rate_factor, rate_factor_fhp
from tests.published.rows import Record, Row, Runs, agree, every_row


def age_factor(row: Row) -> float:
    return float(rate_factor(row["Ta_C"], row["Ts_C"], row["Q_K"]))


def temperature_time(row: Row) -> float:
    return float(maturity_c_h(row["Ta_C"], row["dt_h"], row["T0_C"]))


RUNS: Runs = {
    "SET-AF": age_factor,
    "SET-NS": temperature_time,
    "SET-EA": lambda row: float(activation_energy_j_mol(row["T_C"])),
    "SET-FHP": lambda row: float(rate_factor_fhp(row["T_C"])),
}


@every_row(RUNS)
def test_maturity_is_reproduced(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)
