"""Field table of 10 NYCRR 6-1.30 and ARM 37.115, the 1965 closed form, and the cyanurate share of alkalinity."""

from __future__ import annotations

from jobs.physics.constants import CYANURIC_PKA, FIELD_CONSTANT
from jobs.physics.water import cyanurate_alkalinity_factor, saturation_index_field
from jobs.physics.water_forms import (
    calcium_from_total_hardness_mg_l,
    field_alkalinity_factor,
    field_calcium_factor,
    field_temperature_factor,
    saturation_index_1965,
)
from tests.published.rows import Record, Row, Runs, agree, every_row, rows_of


def celsius(row: Row) -> float:
    return (float(row["T_F"]) - 32) / 1.8


def field(row: Row) -> float:
    return float(saturation_index_field(celsius(row), row["pH"], row["CaH"], row["TA"], tds_mg_l=500))


RUNS: Runs = {
    "LSI-93": lambda row: float(saturation_index_1965(row["T_C"], row["pH"], row["CaH"], row["TA"], row["TDS"])),
    "LSI-NY-1": field,
    "LSI-NY-2": lambda row: float(field_temperature_factor(celsius(row))),
    "LSI-NY-3": lambda row: float(field_calcium_factor(row["CaH"])),
    "LSI-NY-4": lambda row: float(field_alkalinity_factor(row["TA"])),
    "LSI-NY-5": lambda row: float(calcium_from_total_hardness_mg_l(row["TH"])),
    "LSI-TF": lambda row: float(field_temperature_factor(celsius(row))),
    "LSI-CF": lambda row: float(field_calcium_factor(row["CaH"])),
    "LSI-AF": lambda row: float(field_alkalinity_factor(row["TA"])),
    "LSI-FT": field,
    "LSI-TDS-1": lambda row: FIELD_CONSTANT[0],
    "LSI-TDS-2": lambda row: FIELD_CONSTANT[1],
    "LSI-CYAF": lambda row: float(cyanurate_alkalinity_factor(row["pH"])),
}


@every_row(RUNS)
def test_the_tables_are_reproduced(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)


def test_the_cyanurate_rows_use_the_constants_of_the_program() -> None:
    for row in rows_of("LSI-CYAF"):
        assert (row["pKa1"], row["pKa2"]) == CYANURIC_PKA
