"""No published value may be left out silently."""

from __future__ import annotations

import importlib
from collections import Counter
from types import ModuleType

import pytest

from tests.published.rows import HERE, Row, all_rows, belongs, set_aside, value_of


def modules() -> list[ModuleType]:
    names = sorted(path.stem for path in HERE.glob("test_*.py") if path.stem != "test_every_row_is_run")
    return [importlib.import_module(f"tests.published.{name}") for name in names]


def collected() -> Counter[str]:
    """How often each row is a test case of some module, read from the marks pytest collects by."""
    count: Counter[str] = Counter()
    for module in modules():
        for name, function in vars(module).items():
            if name.startswith("test") and getattr(function, "__module__", "") == module.__name__:
                count.update(_rows_of_marks(getattr(function, "pytestmark", [])))
    return count


def _rows_of_marks(marks: list[pytest.Mark]) -> list[str]:
    cases = [case for mark in marks if mark.name == "parametrize" and mark.args[0] == "row" for case in mark.args[1]]
    return [case.values[0].id for case in cases if isinstance(case.values[0], Row)]


def test_both_files_are_complete() -> None:
    by_file = Counter(row.file for row in all_rows().values())
    assert by_file == {"domain_checks.json": 552, "plaster_day_checks.json": 75}


def test_every_row_is_run_by_a_module_or_set_aside_with_a_reason() -> None:
    aside = set_aside("disputed").keys() | set_aside("unavailable").keys()
    missing = [row_id for row_id in all_rows() if row_id not in collected() and row_id not in aside]
    assert not missing, f"{len(missing)} rows are run by no module: {', '.join(missing)}"


def test_no_row_is_run_by_two_modules() -> None:
    assert not [row_id for row_id, times in collected().items() if times > 1]


def test_rows_set_aside_exist_and_say_why() -> None:
    for name in ("disputed", "unavailable"):
        for row_id, entry in set_aside(name).items():
            assert row_id in all_rows(), f"{name}.json names {row_id}, which is no row"
            assert len(entry["reason"].split()) >= 5, f"{row_id} is set aside without a reason"


def test_a_row_is_not_both_disputed_and_unavailable() -> None:
    assert not set_aside("disputed").keys() & set_aside("unavailable").keys()


def test_a_disputed_row_is_still_computed_and_still_disputed() -> None:
    """The value written beside the dispute is what the program gives today, and it is outside the row's tolerance."""
    runs = [module.RUNS for module in modules()]
    for row_id, entry in set_aside("disputed").items():
        row = all_rows()[row_id]
        (mine,) = [each for each in runs if any(belongs(row_id, key) for key in each)]
        assert value_of(row, mine) == pytest.approx(entry["ours"], rel=1e-6)
        assert abs(entry["ours"] - row.expected) > row.tolerance, f"{row_id} agrees; it is no longer disputed"


def test_the_agreement_page_is_of_these_rows() -> None:
    """Else run ``python -m tests.published.agreement`` again."""
    page = (HERE / "AGREEMENT.md").read_text("utf-8")
    (together,) = [line for line in page.splitlines() if line.startswith("| **together** |")]
    rows, passed, disputed = (int(cell) for cell in together.split("|")[2:5])
    assert (rows, disputed) == (len(collected()) + len(set_aside("disputed")), len(set_aside("disputed")))
    assert passed == rows - disputed, "the page was written from a run with failures"
