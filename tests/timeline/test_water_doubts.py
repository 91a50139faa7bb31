"""Tests of the water that are not believed, and what has them believed."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.physics.additions import acid_mol_l, addition_kg
from jobs.timeline.start_up import (
    LoggedAddition,
    WaterTest,
    doubts,
    what_next,
)
from jobs.timeline.water_tests import expected_water, remarks
from tests.timeline.waters import GOOD, NOON, VOLUME, advise, few

# Tests that are not believed.


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"ph": 5.9}, "pH is 5.9; allowed is 6 to 10.5"),
        ({"ph": 10.6}, "pH is 10.6"),
        ({"total_alkalinity_mg_l": 601}, "total alkalinity is 601 mg/L as CaCO3; allowed is 0 to 600"),
        ({"calcium_hardness_mg_l": 1501}, "calcium hardness is 1501"),
        ({"cyanuric_acid_mg_l": 301}, "cyanuric acid is 301 mg/L; allowed is 0 to 300 mg/L"),
        ({"temp_c": 0.5}, "water temperature is 0.5 C; allowed is 1 to 40 C"),
        ({"temp_c": 41}, "water temperature is 41 C"),
        ({"ph": math.nan}, "pH must be a number; allowed is 6 to 10.5"),
        ({"tds_mg_l": math.inf}, "total dissolved solids must be a number"),
    ],
)
def test_an_implausible_reading_asks_for_the_test_again(change: dict[str, float], words: str) -> None:
    advice = advise(replace(GOOD, **change))
    assert advice.action == "repeat"
    assert advice.chemical is None and advice.amount is None
    assert words in advice.reasons[0] and "Test again" in advice.reasons[0]


@pytest.mark.parametrize("change", [{"ph": 6.0}, {"ph": 10.5}, {"temp_c": 1.0}, {"total_alkalinity_mg_l": 600.0}])
def test_the_edges_are_believed(change: dict[str, float]) -> None:
    assert not doubts(replace(GOOD, **change))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"ph": 8.3}, "pH is 8.3 where the last test"),
        ({"total_alkalinity_mg_l": 141.0}, "total alkalinity is 141"),
        ({"calcium_hardness_mg_l": 149.0}, "calcium hardness is 149"),
    ],
)
def test_a_jump_that_nothing_explains_asks_for_the_test_again(change: dict[str, float], words: str) -> None:
    later = replace(GOOD, at=NOON + dt.timedelta(days=1), **change)
    advice = advise(later, previous=GOOD)
    assert advice.action == "repeat"
    assert words in advice.reasons[0]


def test_a_drift_within_the_bounds_is_believed() -> None:
    later = replace(GOOD, at=NOON + dt.timedelta(days=1), ph=8.1, total_alkalinity_mg_l=130, calcium_hardness_mg_l=300)
    assert not doubts(later, GOOD)


def test_a_jump_that_a_logged_addition_explains_is_believed() -> None:
    kg = float(addition_kg("NaHCO3", VOLUME, 60))
    logged = LoggedAddition(NOON + dt.timedelta(hours=1), "NaHCO3", kg)
    later = replace(GOOD, at=NOON + dt.timedelta(days=1), ph=7.5, total_alkalinity_mg_l=160)
    assert doubts(later, GOOD)
    assert not doubts(later, GOOD, [logged], VOLUME)


def test_an_addition_that_should_have_shown_but_did_not_is_a_doubt_too() -> None:
    kg = float(addition_kg("CaCl2_2H2O", VOLUME, 300))
    logged = LoggedAddition(NOON + dt.timedelta(hours=1), "CaCl2_2H2O", kg)
    later = replace(GOOD, at=NOON + dt.timedelta(days=1))
    assert "lead to 550" in doubts(later, GOOD, [logged], VOLUME)[0]


def test_additions_outside_the_two_tests_explain_nothing() -> None:
    kg = float(addition_kg("NaHCO3", VOLUME, 60))
    later = replace(GOOD, at=NOON + dt.timedelta(days=1), total_alkalinity_mg_l=160)
    for at in (NOON - dt.timedelta(hours=1), NOON + dt.timedelta(days=2)):
        assert doubts(later, GOOD, [LoggedAddition(at, "NaHCO3", kg)], VOLUME)


def test_expected_water_keeps_the_balance_of_mass_where_ph_cannot_be_computed() -> None:
    litres = 5 * VOLUME / acid_mol_l()  # 5 mmol/L: far below pH 6.8
    after = expected_water(GOOD.water, [LoggedAddition(NOON, "HCl", litres)], VOLUME)
    assert after.ph == GOOD.ph
    assert after.total_alkalinity_mg_l == 0
    assert after.calcium_hardness_mg_l == GOOD.calcium_hardness_mg_l


@few
@given(st.floats(0, 2), st.floats(0, 2))
def test_additions_commute_in_what_a_kit_reads_of_mass(acid: float, soda: float) -> None:
    hour = dt.timedelta(hours=1)
    first = [LoggedAddition(NOON, "HCl", acid), LoggedAddition(NOON + hour, "NaHCO3", soda)]
    swapped = [LoggedAddition(NOON + hour, "HCl", acid), LoggedAddition(NOON, "NaHCO3", soda)]
    a, b = (expected_water(GOOD.water, each, VOLUME) for each in (first, swapped))
    assert a.total_alkalinity_mg_l == pytest.approx(b.total_alkalinity_mg_l)
    assert a.ph == pytest.approx(b.ph, abs=1e-3)


def test_a_tds_below_its_ions_is_remarked_upon_not_refused() -> None:
    low = replace(GOOD, tds_mg_l=100)
    assert "look at the TDS reading" in remarks(low)[0]
    assert not doubts(low)
    assert not remarks(GOOD)


def test_tests_and_additions_need_a_time_zone_and_an_order() -> None:
    with pytest.raises(ValueError, match="water test needs a time zone"):
        replace(GOOD, at=dt.datetime(2025, 5, 6, 12))  # noqa: DTZ001  without a zone on purpose
    with pytest.raises(ValueError, match="addition needs a time zone"):
        LoggedAddition(dt.datetime(2025, 5, 6, 12), "HCl", 1)  # noqa: DTZ001  without a zone on purpose
    with pytest.raises(ValueError, match="amount added is nan; allowed is 0 or more"):
        LoggedAddition(NOON, "HCl", math.nan)
    with pytest.raises(ValueError, match="before the last one"):
        doubts(replace(GOOD, at=NOON - dt.timedelta(days=1)), GOOD)


def _read(hours: float, ph: float, alkalinity: float = 100.0) -> WaterTest:
    at = dt.datetime(2026, 4, 20, 8, 0, tzinfo=dt.UTC) + dt.timedelta(hours=hours)
    return WaterTest(at, 20.0, ph, 200.0, alkalinity, 600.0)


def test_a_single_outlier_is_never_dosed_from_and_two_agreeing_tests_are_believed() -> None:
    """From pH 7.4 to 8.6 in four days: the first such test is doubted, a second sample that agrees is acted upon."""
    shared = {"day": 7, "method": "traditional", "volume_m3": 45.0, "previous": _read(0, 7.4)}
    first = _read(96, 8.6)
    doubted = what_next(first, **shared)  # type: ignore[arg-type]  # keywords of mixed kinds
    assert doubted.action == "repeat" and doubted.amount is None
    assert "two tests that agree are believed" in " ".join(doubted.reasons)
    assert what_next(_read(96.25, 8.5), **shared, doubted=first).action == "add"  # type: ignore[arg-type]  # keywords of mixed kinds


@pytest.mark.parametrize(
    ("second", "why"),
    [
        (_read(96.02, 8.6), "a minute later it is the same sample"),
        (_read(96.5, 8.3), "it does not agree"),
        (_read(96.5, 8.6, alkalinity=200.0), "alkalinity does not agree"),
        (_read(150, 8.6), "two days later it is another water"),
    ],
)
def test_what_confirms_nothing_is_doubted_again(second: WaterTest, why: str) -> None:
    advice = what_next(
        second, day=7, method="traditional", volume_m3=45.0, previous=_read(0, 7.4), doubted=_read(96, 8.6)
    )
    assert advice.action == "repeat" and advice.amount is None, why


def test_a_reading_that_no_pool_has_is_refused_however_often_it_comes() -> None:
    first, again = _read(96, 11.5), _read(96.5, 11.5)
    advice = what_next(again, day=7, method="traditional", volume_m3=45.0, previous=_read(0, 7.4), doubted=first)
    assert advice.action == "repeat"
