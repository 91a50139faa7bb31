"""P. J. Uno (1998), ACI Materials Journal 95(4): the closed form of evaporation, and examples printed since."""

from __future__ import annotations

from jobs.physics.evaporation import evaporation_uno_kg_m2_h, evaporation_uno_lb_ft2_h
from tests.published.rows import Record, Row, Runs, agree, every_row


def metric(row: Row) -> float:
    return float(evaporation_uno_kg_m2_h(row["Tc_C"], row["Ta_C"], row["r"], row["V_km_h"]))


def us(row: Row) -> float:
    return float(evaporation_uno_lb_ft2_h(row["Tc_F"], row["Ta_F"], row["r"], row["V_mph"]))


RUNS: Runs = {
    "EV-UNO-SI": metric,
    "EV-UNO-US": us,
    "EV-PUB-1": us,
    "EV-PUB-2": metric,
}


@every_row(RUNS)
def test_the_printed_forms_are_reproduced(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)
