"""Twenty-eight days of a cold-spring pool kept by PHREEQC 3 with its phreeqc.dat (USGS), dosed by the program."""

from __future__ import annotations

from collections import Counter

import pytest

from jobs.timeline.start_up import attendances
from tests.published.rows import Runs
from tests.published.worked_start_up import ACCURACY, PAGE, SETTINGS, Line, page, run

RUNS: Runs = {}  # a run of its own, no row of the tables


@pytest.fixture(scope="module")
def lines() -> list[Line]:
    return run()[2]


def test_the_page_is_what_a_run_makes() -> None:
    """``python -m tests.published.worked_start_up`` writes it again."""
    assert PAGE.read_text(encoding="utf-8") == page()


def test_every_index_and_every_ph_after_an_addition_is_phreeqcs(lines: list[Line]) -> None:
    for line in lines:
        assert line.index == pytest.approx(line.index_phreeqc, abs=ACCURACY["index"])
        if line.after is not None:
            assert line.after == pytest.approx(line.after_phreeqc, abs=ACCURACY["ph"])


def test_what_was_predicted_is_what_the_pool_then_reads(lines: list[Line]) -> None:
    """Lime and air go on for six hours, and readings are rounded: two tenths of pH on the first days, then one."""
    for line in lines:
        if line.after is not None and line.then is not None:
            assert line.then == pytest.approx(line.after, abs=0.2 if line.day <= 3 else 0.1)


def test_no_addition_takes_off_more_than_the_step_and_none_follows_a_doubted_test(lines: list[Line]) -> None:
    for before, line in zip([None, *lines], lines, strict=False):
        if line.advice.chemical == "HCl" and line.after is not None:
            assert line.test.ph - line.after <= SETTINGS.acid_ph_step + 0.05
        if before is not None and before.advice.action == "repeat":
            assert before.advice.amount is None
            assert line.test.at > before.test.at, "only a new sample confirms"


def test_each_visit_ends_with_nothing_to_add(lines: list[Line]) -> None:
    last = {line.day: line.advice.action for line in lines}
    assert last == dict.fromkeys(attendances(SETTINGS), "leave")
    assert Counter(line.advice.chemical for line in lines if line.advice.chemical)["NaHCO3"] == 3


def test_the_pool_itself_ends_within_its_goals(lines: list[Line]) -> None:
    end = lines[-1].test
    assert SETTINGS.high_ph[0] <= end.ph <= SETTINGS.high_ph[1]
    assert end.calcium_hardness_mg_l > 100, "lime and hardness stay dissolved in this run"
