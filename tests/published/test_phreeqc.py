"""Values printed by PHREEQC 3 with its phreeqc.dat (USGS), run through phreeqpython: index, acid, additions, air."""

from __future__ import annotations

from jobs.physics.additions import hydrochloric_acid_l
from jobs.physics.constants import CACO3_EQUIVALENT_MG, US_GALLON_M3
from jobs.physics.water import (
    acid_demand_mmol_l,
    ph_after,
    ph_in_air,
    precipitation_potential_mg_l,
    saturation_index,
)
from tests.published.rows import Record, Row, Runs, agree, every_row


def index(row: Row) -> float:
    return float(saturation_index(row["T_C"], row["pH"], row["CaH_mgL_CaCO3"], row["TA_mgL_CaCO3"], row["TDS_mgL"]))


def acid(row: Row) -> float:
    return float(acid_demand_mmol_l(row["T_C"], row["pH0"], row["pH1"], row["CaH"], row["TA"], row["TDS"]))


def acid_litres(row: Row) -> float:
    fall = acid(row) * CACO3_EQUIVALENT_MG
    volume = row["gal"] * US_GALLON_M3
    return float(hydrochloric_acid_l(volume, fall, row["mass_fraction"], row["relative_density"]))


def after(row: Row) -> float:
    return float(ph_after(row["substance"], row["mmol_L"], row["T_C"], row["pH"], row["CaH"], row["TA"], row["TDS"]))


def in_air(row: Row) -> float:
    return float(ph_in_air(row["T_C"], row["CaH"], row["TA"], row["TDS"], row["log10_pCO2"]))


def precipitation(row: Row) -> float:
    return float(precipitation_potential_mg_l(row["T_C"], row["pH"], row["CaH"], row["TA"], row["TDS"]))


RUNS: Runs = {
    "LSI-PHQ": index,
    "ACID-2": acid,
    "ACID-3": acid,
    "ACID-4": acid,
    "ACID-6": acid,
    "ACID-V1": acid_litres,
    "ACID-V2": acid_litres,
    "ACID-V3": acid_litres,
    "ACID-V5": acid_litres,
    "REACT": after,
    "AIR": in_air,
    "CCPP": precipitation,
}


@every_row(RUNS)
def test_phreeqc_is_reproduced(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)
