"""Plummer and Busenberg (1982): constants of calcium carbonate, and the hand calculations that rest on them."""

from __future__ import annotations

import numpy as np

from jobs.physics import constants
from jobs.physics.carbonate import log_k
from jobs.physics.water_forms import (
    acid_demand_by_hand_mmol_l,
    pk1,
    pk2,
    pks_calcite,
    saturation_index_standard_methods,
)
from tests.published.rows import Record, Row, Runs, agree, every_row


def constant(name: str, row: Row) -> float:
    return float(log_k(getattr(constants, name), np.asarray(float(row["T_C"]))))


RUNS: Runs = {
    "LSI-PB-1": lambda row: -float(pks_calcite(row["T_C"])),
    "LSI-PB-2": lambda row: constant("LOG_K_ARAGONITE", row),
    "LSI-PB-3": lambda row: constant("LOG_K_VATERITE", row),
    "LSI-PB-4": lambda row: -float(pks_calcite(row["T_C"])),
    "LSI-PB-5": lambda row: constant("LOG_K_CAHCO3_PAIR", row),
    "LSI-PB-6": lambda row: constant("LOG_K_CACO3_PAIR", row),
    "LSI-PB-7": lambda row: float(pk1(row["T_C"])),
    "LSI-PK2": lambda row: float(pk2(row["T_C"])),
    "LSI-PKS": lambda row: float(pks_calcite(row["T_C"])),
    "LSI-SM": lambda row: float(
        saturation_index_standard_methods(row["T_C"], row["pH"], row["CaH"], row["TA"], row["TDS"])
    ),
    **{
        f"ACID-S{number}": lambda row: float(
            acid_demand_by_hand_mmol_l(row["T_C"], row["pH0"], row["pH1"], row["CaH"], row["TA"], row["TDS"])
        )
        for number in (1, 2, 3, 4)
    },
}


@every_row(RUNS)
def test_plummer_and_busenberg_are_reproduced(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)
