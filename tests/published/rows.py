"""The published values this project is held to, and how a test module runs them.

``rows/domain_checks.json`` and ``rows/plaster_day_checks.json`` hold one row per value: id, formula, inputs,
expected, units, tolerance, source and kind (published, reference-library, hand-arithmetic, memory,
common-practice). Values are never edited to fit code. A row believed wrong goes to ``disputed.json`` as
``{"id", "reason", "ours"}``; a row whose data is not here goes to ``unavailable.json`` as ``{"id",
"reason"}``.

To add a module, one per source document or family of sources, write ``tests/published/test_<source>.py``::

    '''What the source is, in one line.'''
    from tests.published.rows import Row, Runs, agree, every_row

    def evaporation(row: Row) -> float:
        return evaporation_menzel_kg_m2_h(row["Tc_C"], row["Ta_C"], row["r"], row["V_km_h"])

    RUNS: Runs = {"EV-MEN-SI": evaporation, "EV-THR-1": lambda row: constants.EVAPORATION_STOP_KG_M2_H}

    @every_row(RUNS)
    def test_the_source_is_reproduced(row: Row, record_property: Record) -> None:
        agree(row, RUNS, record_property)

A key of RUNS is a row id or the beginning of one up to a hyphen ("EV-MEN-SI" takes EV-MEN-SI-1 and -4, not
EV-MEN-SIX-1); of several keys the longest wins. The function returns the program's value in the row's own
unit: a number, a list of numbers, or text. Every row is then a test of its own with id ``EV-MEN-SI-1
reference-library``, and source, kind, expected and computed value in its user properties.
``test_every_row_is_run.py`` fails as long as a row is run by no module.
"""

from __future__ import annotations

import functools
import json
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

HERE = Path(__file__).parent
FILES = ("domain_checks.json", "plaster_day_checks.json")

Value = float | Sequence[float] | str
Record = Callable[[str, object], None]


@dataclass(frozen=True)
class Row:
    """One published value; ``row["T_C"]`` is an input."""

    id: str
    formula: str
    inputs: dict[str, Any]
    expected: Value
    units: str
    tolerance: float
    source: str
    kind: str
    check: str
    note: str
    file: str

    def __getitem__(self, name: str) -> Any:
        return self.inputs[name]


Runs = dict[str, Callable[[Row], Value]]


@functools.cache
def all_rows() -> dict[str, Row]:
    """Every row of both files by id, in the order of the files."""
    rows: dict[str, Row] = {}
    for file in FILES:
        for entry in json.loads((HERE / "rows" / file).read_text("utf-8")):
            assert entry["id"] not in rows, f"row {entry['id']} stands twice"
            rows[entry["id"]] = _row(entry, file)
    return rows


def _row(entry: dict[str, Any], file: str) -> Row:
    tolerance = entry["tolerance"]
    return Row(
        id=entry["id"],
        formula=entry["formula"],
        inputs=entry["inputs"] if isinstance(entry["inputs"], dict) else {},
        expected=entry["expected"],
        units=entry["units"],
        tolerance=0.0 if tolerance is None else float(tolerance),
        source=entry["source"],
        kind=entry["kind"],
        check=entry.get("check", "function"),
        note=entry.get("note", ""),
        file=file,
    )


def row(row_id: str) -> Row:
    """The row with this id."""
    return all_rows()[row_id]


def belongs(row_id: str, key: str) -> bool:
    """Whether *key* is the id, or the beginning of it up to a hyphen."""
    return row_id == key or row_id.startswith(key + "-")


def rows_of(*keys: str) -> list[Row]:
    """Rows that belong to any of *keys*; a key that takes no row is an error."""
    for key in keys:
        assert any(belongs(row_id, key) for row_id in all_rows()), f"no row begins with {key}"
    return [row for row in all_rows().values() if any(belongs(row.id, key) for key in keys)]


def set_aside(name: str) -> dict[str, dict[str, Any]]:
    """Entries of disputed.json or unavailable.json by row id; *name* is 'disputed' or 'unavailable'."""
    return {entry["id"]: entry for entry in json.loads((HERE / f"{name}.json").read_text("utf-8"))}


def every_row(runs: Runs) -> pytest.MarkDecorator:
    """Parametrise a test over the rows of *runs*, less those set aside."""
    aside = set_aside("disputed").keys() | set_aside("unavailable").keys()
    chosen = [row for row in rows_of(*runs) if row.id not in aside]
    return pytest.mark.parametrize("row", [pytest.param(row, id=f"{row.id} {row.kind}") for row in chosen])


def value_of(row: Row, runs: Runs) -> Value:
    """What the program computes for *row*; of several fitting keys the longest decides."""
    key = max((key for key in runs if belongs(row.id, key)), key=len)
    return runs[key](row)


def agree(row: Row, runs: Runs, record_property: Record) -> None:
    """Assert that the program's value lies within the row's tolerance of the published one."""
    value = value_of(row, runs)
    for name in ("source", "kind", "expected", "units", "tolerance"):
        record_property(name, getattr(row, name))
    record_property("row", row.id)
    record_property("value", value if isinstance(value, str) else _numbers(value))
    if isinstance(row.expected, str) or isinstance(value, str):
        assert value == row.expected, f"{row.id}: computed {value}, {row.source} gives {row.expected}"
        return
    computed, expected = _numbers(value), _numbers(row.expected)
    assert len(computed) == len(expected), f"{row.id}: {len(computed)} values for {len(expected)}"
    for ours, theirs in zip(computed, expected, strict=True):
        slack = row.tolerance + 1e-12 * abs(theirs)  # a tolerance of 0 still allows the last bit of a float
        assert math.isfinite(ours), f"{row.id}: computed {ours}"
        assert abs(ours - theirs) <= slack, (
            f"{row.id}: computed {ours:.8g} {row.units}, {row.source} gives {theirs:.8g} +- {row.tolerance:g}"
        )


def _numbers(value: float | Sequence[float]) -> list[float]:
    return [float(each) for each in value] if isinstance(value, Sequence) else [float(value)]
