"""How much to add, in both unit sets, and what it does."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.physics.additions import (
    EQUIVALENTS,
    Amount,
    Chemical,
    PoolWater,
    acid_mol_l,
    addition_kg,
    alkalinity_lowered_mg_l,
    hydrochloric_acid_l,
    predict_addition,
    relative_density_of_baume,
)
from jobs.physics.water import acid_demand_mmol_l

few = settings(max_examples=40, deadline=None, derandomize=True)

POOL = PoolWater(25.0, 7.8, 200, 100, 900)
chemicals = st.sampled_from(sorted(EQUIVALENTS))


@few
@given(chemicals, st.floats(1, 500), st.floats(1, 200))
def test_twice_the_volume_or_twice_the_change_is_twice_the_addition(
    chemical: Chemical, volume: float, change: float
) -> None:
    once = addition_kg(chemical, volume, change)
    assert addition_kg(chemical, 2 * volume, change) == pytest.approx(2 * once)
    assert addition_kg(chemical, volume, 2 * change) == pytest.approx(2 * once)
    assert addition_kg(chemical, volume, change, purity=0.5) == pytest.approx(2 * once)


@few
@given(st.floats(1, 500), st.floats(0, 200), st.floats(0.05, 0.38))
def test_acid_lowers_the_alkalinity_it_was_measured_for(volume: float, fall: float, strength: float) -> None:
    litres = hydrochloric_acid_l(volume, fall, strength)
    assert alkalinity_lowered_mg_l(volume, litres, strength) == pytest.approx(fall)


def test_stronger_acid_needs_less_of_it() -> None:
    litres = [hydrochloric_acid_l(40, 10, strength) for strength in (0.10, 0.15, 0.20, 0.3145, 0.36)]
    assert litres == sorted(litres, reverse=True)


def test_the_acid_of_20_degrees_baume_is_the_default() -> None:
    assert relative_density_of_baume(20) == pytest.approx(1.16)
    assert acid_mol_l() == pytest.approx(acid_mol_l(0.3145, 1.16))


@few
@given(st.floats(0, 5), st.floats(20, 120))
def test_a_prediction_adds_up(kg: float, volume: float) -> None:
    after = predict_addition("NaHCO3", kg, volume, POOL).after
    rise = after.total_alkalinity_mg_l - POOL.total_alkalinity_mg_l
    assert addition_kg("NaHCO3", volume, rise) == pytest.approx(kg)
    assert after.tds_mg_l - POOL.tds_mg_l == pytest.approx(1000 * kg / volume)
    assert after.calcium_hardness_mg_l == POOL.calcium_hardness_mg_l


def test_acid_is_predicted_in_litres_and_meets_the_demand() -> None:
    mmol = float(acid_demand_mmol_l(25.0, 7.8, 7.5, 200, 100, 900))
    litres = mmol * 50 / acid_mol_l()
    prediction = predict_addition("HCl", litres, 50, POOL)
    assert prediction.after.ph == pytest.approx(7.5, abs=1e-3)
    assert prediction.after.total_alkalinity_mg_l == pytest.approx(100 - 50.04 * mmol, abs=0.01)
    assert prediction.index_change < 0


def test_calcium_chloride_raises_calcium_and_the_index_and_hardly_moves_ph() -> None:
    kg = float(addition_kg("CaCl2_2H2O", 50, 50))
    prediction = predict_addition("CaCl2_2H2O", kg, 50, POOL)
    assert prediction.after.calcium_hardness_mg_l == pytest.approx(250, abs=0.1)
    assert abs(prediction.after.ph - POOL.ph) < 0.05
    assert prediction.index_change > 0.05


def test_cyanuric_acid_lowers_ph_and_the_index() -> None:
    prediction = predict_addition("CYA", float(addition_kg("CYA", 50, 30)), 50, POOL)
    assert prediction.after.cyanuric_acid_mg_l == pytest.approx(30)
    assert prediction.after.ph < POOL.ph - 0.1
    assert prediction.after.total_alkalinity_mg_l == POOL.total_alkalinity_mg_l
    assert prediction.index_change < -0.1


def test_salt_raises_only_tds() -> None:
    prediction = predict_addition("NaCl", 150, 50, POOL)
    assert prediction.after.tds_mg_l == pytest.approx(3900)
    assert prediction.after.ph == pytest.approx(POOL.ph, abs=0.1)


@pytest.mark.parametrize(
    ("amount", "metric", "us"),
    [
        (Amount(0.35, "kg"), "350 g", "12 oz"),
        (Amount(1.2, "kg"), "1.2 kg", "2.6 lb"),
        (Amount(0.45, "L"), "450 mL", "15 fl oz"),
        (Amount(5.0, "L"), "5.0 L", "1.3 gal"),
        (Amount(75.0, "kg"), "75 kg", "170 lb"),
    ],
)
def test_amounts_are_said_in_both_unit_sets(amount: Amount, metric: str, us: str) -> None:
    assert (amount.metric, amount.us) == (metric, us)
    assert amount.words == f"{metric} ({us})"


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: addition_kg("CaO", 50, 10), "substance is 'CaO'; allowed is one of"),  # type: ignore[arg-type]  # wrong on purpose
        (lambda: addition_kg("NaHCO3", -1, 10), "volume of the pool is -1 m3; allowed is 0.001 to 20000 m3"),
        (lambda: addition_kg("NaHCO3", 50, 2000), "change is 2000 mg/L; allowed is 0 to 1000 mg/L"),
        (lambda: addition_kg("NaHCO3", 50, 10, 0), "purity is 0; allowed is more than 0 to 1"),
        (lambda: addition_kg("NaHCO3", 50, float("nan")), "change must be a number"),
        (lambda: hydrochloric_acid_l(50, 10, 0.5), "mass fraction of the acid is 0.5; allowed is 0.01 to 0.38"),
        (lambda: hydrochloric_acid_l([1, 2], [1, 2, 3]), "arrays must have one shape"),
        (lambda: predict_addition("HCl", 30, 50, POOL), "pH after this addition is"),
        (lambda: predict_addition("HCl", float("inf"), 50, POOL), "amount to add must be a number"),
    ],
)  # fmt: skip
def test_bad_amounts_are_refused(call: object, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        call()  # type: ignore[operator]  # of rows with mixed kinds
