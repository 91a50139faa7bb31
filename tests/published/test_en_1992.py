"""EN 1992-1-1:2004 eq. 3.2, printed by structuralcodes: strength with age."""

from __future__ import annotations

from jobs.physics.strength import strength_ratio
from tests.published.rows import Record, Row, Runs, agree, every_row


def ratio(row: Row) -> float:
    if row["s"] == 0.25:  # normal cement: what the program takes unless told otherwise
        return float(strength_ratio(row["t_d"]))
    return float(strength_ratio(row["t_d"], row["s"]))


RUNS: Runs = {
    "STR-EC": ratio,
}


@every_row(RUNS)
def test_strength_with_age_is_reproduced(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)
