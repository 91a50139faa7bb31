"""What initial and final set mean: ASTM C403, C191, C150, C494, NT BUILD 476, Schindler (2003)."""

from __future__ import annotations

from jobs.physics.figures import FIGURES
from tests.published.rows import Record, Row, Runs, Value, agree, every_row

NAMES: dict[str, tuple[str, int | None]] = {
    "SET-C403-I": ("initial_set", None),
    "SET-C403-F": ("final_set", None),
    "SET-C403-ISI": ("initial_set_si", None),
    "SET-C403-FSI": ("final_set_si", None),
    "SET-C191-I": ("vicat_initial", None),
    "SET-C150-I": ("vicat_time", 0),
    "SET-C150-F": ("vicat_time", 1),
    "SET-NT476": ("set_heat", None),
    "SET-SCH-I": ("set_hydration", 0),
    "SET-SCH-F": ("set_hydration", 1),
    "SET-C494-1": ("admixture_shift", None),
    "SET-C494-2": ("admixture_shift", None),
}


def quoted(row: Row) -> Value:
    name, end = NAMES[row.id]
    figure = FIGURES[name]
    assert figure.from_memory == (row.kind == "memory"), "what was recalled must say so where it is shown"
    value = figure.value
    return value[end] if isinstance(value, tuple) and end is not None else value


RUNS: Runs = dict.fromkeys(NAMES, quoted)


@every_row(RUNS)
def test_the_definitions_are_kept(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)
