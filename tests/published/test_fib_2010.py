"""fib Model Code 2010, printed by structuralcodes: equivalent age, and strength in cold and warm curing."""

from __future__ import annotations

from jobs.physics.setting import equivalent_age_h
from jobs.physics.strength import calendar_days_to_28, strength_ratio
from tests.published.rows import Record, Row, Runs, agree, every_row


def age(row: Row) -> float:
    return float(equivalent_age_h(row["T_C"], row["dt_days"] if "dt_days" in row.inputs else row["dt_h"]))


def strength_at_temperature(row: Row) -> float:
    return float(strength_ratio(float(equivalent_age_h(row["T_C"], row["t_d"])), row["s"]))


RUNS: Runs = {
    "SET-MC": age,
    "STR-TE": strength_at_temperature,
    "STR-28": lambda row: float(calendar_days_to_28(row["T_C"])),
}


@every_row(RUNS)
def test_equivalent_age_is_reproduced(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)
