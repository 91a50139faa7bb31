"""The table of likelihoods: marked, in order, complete, and refused where it is none (common practice, no source)."""

from __future__ import annotations

import pytest

from jobs.condition.interior_surface import identify
from jobs.condition.likelihoods import DEFAULT_TABLE, Case, matrices, table_from_rows, table_rows
from jobs.condition.observations import BY_NAME


def test_every_case_is_marked_common_practice_or_memory() -> None:
    assert {case.mark for case in DEFAULT_TABLE} == {"CP", "M"}


def test_no_case_stands_behind_one_that_always_wins() -> None:
    """Every case decides for at least one hypothesis."""
    for name in BY_NAME:
        cases = [c for c in DEFAULT_TABLE if c.observation == name]
        columns = {tuple(column) for column in matrices(DEFAULT_TABLE)[name].T}
        assert {c.probabilities for c in cases} == columns, name


def test_the_table_can_be_edited_and_read_back() -> None:
    rows = table_rows()
    assert table_from_rows(rows) == DEFAULT_TABLE
    flush = next(r for r in rows if r["observation"] == "tile_line" and r["when"] == {"edge": ["cut_back"]})
    flush["probabilities"] = {"flush": 0.5, "proud": 0.3, "stepped_in": 0.2}
    edited = table_from_rows(rows)
    survey = [{"name": "tile_line", "value": "proud"}, {"name": "saw_cut", "value": "visible"}]
    assert identify(survey, table=edited).at_least(2) > identify(survey).at_least(2)


@pytest.mark.parametrize(
    ("case", "sentence"),
    [
        (("tile_lines", (), (1.0,)), "not a known observation"),
        (("tile_line", (), (0.5, 0.5)), "one for each of flush, proud, stepped_in"),
        (("tile_line", (), (0.5, 0.5, 0.5)), "must make 1"),
        (("tile_line", (), (1.0, 0.0, 0.0)), "allowed is 0.0001 to 1"),
        (("tile_line", (("colour", ("white",)),), (0.5, 0.3, 0.2)), "condition on 'colour'"),
    ],
)
def test_a_bad_likelihood_is_refused(case: tuple[object, ...], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        Case(*case)  # type: ignore[arg-type]  # wider than the declared kind


def test_a_gap_in_the_table_is_refused() -> None:
    rows = [r for r in table_rows() if not (r["observation"] == "tile_line" and not r["when"])]
    with pytest.raises(ValueError, match="tile_line have no case for"):
        table_from_rows(rows)
