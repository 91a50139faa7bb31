"""Stoichiometry of additions: molar masses (periodictable), 10 NYCRR 6-1.30 constants, Baume acid."""

from __future__ import annotations

from jobs.physics.additions import (
    acid_mol_l,
    addition_kg,
    alkalinity_lowered_mg_l,
    hydrochloric_acid_l,
    relative_density_of_baume,
)
from jobs.physics.constants import MOLAR_G, POUND_KG, US_GALLON_M3
from tests.published.rows import Record, Row, Runs, agree, every_row

LITRES_PER_FL_OZ = US_GALLON_M3 * 1000 / 128


def grams(row: Row) -> float:
    return 1000 * float(addition_kg(row["compound"], row["volume_m3"], row["delta_mgL"]))


def pounds(row: Row, compound: str = "") -> float:
    volume = row["gal"] * US_GALLON_M3
    return float(addition_kg(compound or row["compound"], volume, row.inputs.get("delta", 1))) / POUND_KG  # type: ignore[arg-type]  # wider than the declared kind


def litres(row: Row) -> float:
    volume = row["gal"] * US_GALLON_M3
    return float(hydrochloric_acid_l(volume, row["delta"], row["mass_fraction"], row["relative_density"]))


def lowered(row: Row) -> float:
    volume, acid = row["gal"] * US_GALLON_M3, row["pints"] * US_GALLON_M3 * 1000 / 8
    return float(alkalinity_lowered_mg_l(volume, acid, row["mass_fraction"], row["relative_density"]))


RUNS: Runs = {
    "DOSE-M": lambda row: MOLAR_G[row["compound"]],
    "DOSE-G": grams,
    "DOSE-LB": pounds,
    "DOSE-BE": lambda row: relative_density_of_baume(row["Be"]),
    "DOSE-HCL-C": lambda row: acid_mol_l(row["mass_fraction"], row["relative_density"]),
    "DOSE-HCL-1": litres,
    "DOSE-HCL-2": lambda row: litres(row) / LITRES_PER_FL_OZ,
    "DOSE-HCL-3": lowered,
    "DOSE-HCL-NY": lowered,
    "DOSE-CYA": lambda row: pounds(row, "CYA"),
    "DOSE-SALT": lambda row: pounds(row, "NaCl"),
    "DOSE-MGL": lambda row: pounds(row, "NaCl"),
}


@every_row(RUNS)
def test_dosing_arithmetic_is_reproduced(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)
