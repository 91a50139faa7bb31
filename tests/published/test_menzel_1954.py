"""C. A. Menzel (1954), the equation under the ACI 305R chart, and the table of drying conditions printed from it."""

from __future__ import annotations

from jobs.physics.evaporation import evaporation_menzel_kg_m2_h
from jobs.physics.units import convert
from tests.published.rows import Record, Row, Runs, agree, every_row


def metric(row: Row) -> float:
    return float(evaporation_menzel_kg_m2_h(row["Tc_C"], row["Ta_C"], row["r"], row["V_km_h"]))


def us(row: Row) -> float:
    surface, air = convert(row["Tc_F"], "F", "C"), convert(row["Ta_F"], "F", "C")
    rate = evaporation_menzel_kg_m2_h(surface, air, row["r"], convert(row["V_mph"], "mph", "km/h"))
    return float(convert(rate, "kg/m2/h", "lb/ft2/h"))


RUNS: Runs = {
    "EV-MEN-SI": metric,
    "EV-MEN-US": us,
    "EV-TAB": us,
}


@every_row(RUNS)
def test_the_equation_and_the_table_are_reproduced(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)
