"""ACI 209R-92: strength with age, equation 2-1 and the table of ratios (from memory)."""

from __future__ import annotations

from jobs.physics.strength import strength_ratio_aci
from tests.published.rows import Record, Row, Runs, agree, every_row


def ratio(row: Row) -> float:
    if (row["a"], row["b"]) == (4, 0.85):  # Type I, moist cured: what the program takes unless told otherwise
        return float(strength_ratio_aci(row["t_d"]))
    return float(strength_ratio_aci(row["t_d"], row["a"], row["b"]))


RUNS: Runs = {
    "STR-ACI": ratio,
    "STR-ACIT": ratio,
}


@every_row(RUNS)
def test_strength_with_age_is_reproduced(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)
