"""Pool water: laws that hold for every water, limits of the formulas, and bad input."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.physics.activity import debye_huckel, dielectric_constant, water_density_g_cm3
from jobs.physics.buffers import cyanurate_alkalinity_factor
from jobs.physics.root import bracketed_root
from jobs.physics.tested_water import composition
from jobs.physics.water import (
    SUBSTANCES,
    acid_demand_mmol_l,
    ph_after,
    ph_in_air,
    precipitation_potential_mg_l,
    saturation_index,
    saturation_index_field,
)
from jobs.physics.water_forms import acid_demand_by_hand_mmol_l

few = settings(max_examples=40, deadline=None, derandomize=True)

Given = dict[str, float]


@st.composite
def pools(draw: st.DrawFn, ph: tuple[float, float] = (6.8, 9.0)) -> Given:
    return {
        "temp_c": draw(st.floats(1, 40)),
        "ph": draw(st.floats(*ph)),
        "calcium_hardness_mg_l": draw(st.floats(10, 1000)),
        "total_alkalinity_mg_l": draw(st.floats(40, 400)),
        "tds_mg_l": draw(st.floats(0, 8000)),
    }


def without_ph(pool: Given) -> Given:
    return {name: value for name, value in pool.items() if name != "ph"}


ORDINARY: Given = {
    "temp_c": 25.0,
    "ph": 7.5,
    "calcium_hardness_mg_l": 200.0,
    "total_alkalinity_mg_l": 100.0,
    "tds_mg_l": 500.0,
}


# Laws.


@few
@given(pools())
def test_more_calcium_a_higher_ph_or_a_warmer_water_scale_more(pool: Given) -> None:
    index = saturation_index(**pool)
    assert saturation_index(**(pool | {"calcium_hardness_mg_l": pool["calcium_hardness_mg_l"] + 50})) > index
    assert saturation_index(**(pool | {"ph": pool["ph"] + 0.1})) > index
    if pool["temp_c"] <= 38:
        assert saturation_index(**(pool | {"temp_c": pool["temp_c"] + 2})) > index


@few
@given(pools(), st.floats(300, 2000))
def test_more_salt_scales_less(pool: Given, more: float) -> None:
    """Above the TDS of its own calcium and alkalinity, which the composition fills up first."""
    own = 1.2 * pool["calcium_hardness_mg_l"] + 1.8 * pool["total_alkalinity_mg_l"]
    low = pool | {"tds_mg_l": min(own + 100, 8000)}
    assert saturation_index(**(low | {"tds_mg_l": low["tds_mg_l"] + more})) < saturation_index(**low)


@few
@given(pools(), st.floats(10, 100))
def test_cyanurate_takes_its_share_of_the_alkalinity(pool: Given, cyanuric: float) -> None:
    share = float(cyanurate_alkalinity_factor(pool["ph"])) * cyanuric
    stabilised = pool | {"total_alkalinity_mg_l": pool["total_alkalinity_mg_l"] + share}
    assert saturation_index(**stabilised, cyanuric_acid_mg_l=cyanuric) == pytest.approx(saturation_index(**pool))


@few
@given(pools((7.4, 9.0)), st.floats(0.05, 0.6))
def test_a_lower_goal_needs_more_acid_and_none_needs_none(pool: Given, fall: float) -> None:
    rest, start = without_ph(pool), pool["ph"]
    first = float(acid_demand_mmol_l(ph_from=start, ph_to=start - fall / 2, **rest))
    both = float(acid_demand_mmol_l(ph_from=start, ph_to=start - fall, **rest))
    assert 0 < first < both
    assert acid_demand_mmol_l(ph_from=start, ph_to=start, **rest) == pytest.approx(0, abs=1e-6)


@few
@given(pools((7.4, 9.0)), st.floats(0.05, 0.6), st.floats(0, 100), st.floats(0, 60))
def test_the_acid_demanded_brings_the_ph_asked_for(pool: Given, fall: float, cyanuric: float, boron: float) -> None:
    pool = pool | {"total_alkalinity_mg_l": pool["total_alkalinity_mg_l"] + 160}
    goal = pool["ph"] - fall
    acid = acid_demand_mmol_l(
        ph_from=pool["ph"], ph_to=goal, **without_ph(pool), cyanuric_acid_mg_l=cyanuric, boron_mg_l=boron
    )
    after = ph_after("HCl", acid, **pool, cyanuric_acid_mg_l=cyanuric, boron_mg_l=boron)
    assert after == pytest.approx(goal, abs=1e-4)


@few
@given(pools((7.4, 8.4)), st.floats(10, 100))
def test_buffers_beside_carbonate_ask_for_more_acid(pool: Given, cyanuric: float) -> None:
    """At equal carbonate: the cyanurate's own share is added to what was measured."""
    rest, start = without_ph(pool), pool["ph"]
    share = float(cyanurate_alkalinity_factor(start)) * cyanuric
    stabilised = rest | {"total_alkalinity_mg_l": rest["total_alkalinity_mg_l"] + share}
    bare = acid_demand_mmol_l(ph_from=start, ph_to=start - 0.4, **rest)
    with_it = acid_demand_mmol_l(ph_from=start, ph_to=start - 0.4, **stabilised, cyanuric_acid_mg_l=cyanuric)
    assert with_it > bare


@few
@given(pools((7.2, 8.6)), st.floats(0.01, 0.1))
def test_more_acid_gives_a_lower_ph_and_more_base_a_higher_one(pool: Given, mmol: float) -> None:
    demand = float(acid_demand_mmol_l(ph_from=pool["ph"], ph_to=6.8, **without_ph(pool)))
    falls = [float(ph_after("HCl", share * demand, **pool)) for share in (0, 0.3, 0.6, 0.9)]
    assert falls == sorted(falls, reverse=True) and falls[0] > falls[-1]
    for base in ("Na2CO3", "Ca(OH)2"):
        rises = [float(ph_after(base, n * mmol, **pool)) for n in (0, 0.5, 1)]  # type: ignore[arg-type]  # keywords of mixed kinds
        assert rises == sorted(rises) and rises[0] < rises[-1]


@few
@given(pools())
def test_adding_nothing_changes_nothing(pool: Given) -> None:
    for substance in SUBSTANCES:
        assert ph_after(substance, 0.0, **pool) == pytest.approx(pool["ph"], abs=1e-6)  # type: ignore[arg-type]  # keywords of mixed kinds


@few
@given(pools((7.2, 8.6)))
def test_bicarbonate_moves_the_ph_far_less_than_carbonate_does(pool: Given) -> None:
    by_bicarbonate = abs(float(ph_after("NaHCO3", 0.4, **pool)) - pool["ph"])
    by_carbonate = abs(float(ph_after("Na2CO3", 0.2, **pool)) - pool["ph"])
    assert by_bicarbonate < by_carbonate


@few
@given(pools())
def test_precipitation_has_the_sign_of_the_index(pool: Given) -> None:
    index, out = float(saturation_index(**pool)), float(precipitation_potential_mg_l(**pool))
    if abs(index) > 0.01:
        assert np.sign(index) == np.sign(out)
    assert out < pool["calcium_hardness_mg_l"]


@few
@given(pools())
def test_more_alkalinity_drifts_to_a_higher_ph_in_air(pool: Given) -> None:
    rest = without_ph(pool)
    more = rest | {"total_alkalinity_mg_l": rest["total_alkalinity_mg_l"] + 50}
    assert ph_in_air(**more) > ph_in_air(**rest)
    assert ph_in_air(**rest, log10_pco2=-2.5) < ph_in_air(**rest)


@few
@given(st.floats(4, 11.9))
def test_cyanurate_s_share_grows_with_ph(ph: float) -> None:
    assert cyanurate_alkalinity_factor(ph + 0.1) > cyanurate_alkalinity_factor(ph)


def test_the_flat_third_is_the_cyanurate_share_near_ph_7_6() -> None:
    assert cyanurate_alkalinity_factor(7.6) == pytest.approx(1 / 3, abs=0.01)


def test_lime_lifts_weakly_buffered_water_far_higher() -> None:
    """Why fill water is given bicarbonate: the same lime, water of alkalinity 60 and of 300."""
    soft, firm = (float(ph_after("Ca(OH)2", 0.499566, 25.0, 7.8, 100, alkalinity, 500)) for alkalinity in (60, 300))
    assert soft > firm + 1


def test_the_hand_calculation_of_acid_is_a_few_per_cent_low() -> None:
    given_: dict[str, Any] = {"temp_c": 25.0, "ph_from": 8.2, "ph_to": 7.6, "calcium_hardness_mg_l": 200}
    given_ |= {"total_alkalinity_mg_l": 120, "tds_mg_l": 800}
    ratio = float(acid_demand_by_hand_mmol_l(**given_)) / float(acid_demand_mmol_l(**given_))
    assert 0.92 < ratio < 1


# Arrays.


def test_arrays_give_what_their_elements_give() -> None:
    ph = np.array([[7.2, 7.6], [8.4, 9.9]])
    calls = {
        "index": lambda p: saturation_index(25.0, p, 200.0, 120.0, 800.0),
        "field": lambda p: saturation_index_field(25.0, p, 200.0, 120.0, 800.0),
        "acid": lambda p: acid_demand_mmol_l(25.0, p, 7.0, 200.0, 120.0, 800.0),
        "lime": lambda p: ph_after("Ca(OH)2", 0.05, 25.0, p, 200.0, 120.0, 800.0),
        "out": lambda p: precipitation_potential_mg_l(25.0, p, 200.0, 120.0, 800.0),
    }
    for name, call in calls.items():
        together = call(ph)
        assert np.shape(together) == ph.shape, name
        alone = [[call(float(p)) for p in row] for row in ph]
        assert np.allclose(np.asarray(together), alone, atol=1e-6), name
        assert isinstance(alone[0][0], float), name


def test_alkalinity_may_be_the_array_too() -> None:
    assert np.shape(ph_in_air(25.0, 200.0, np.array([60.0, 100.0]), 800.0)) == (2,)
    assert np.shape(ph_after("HCl", np.array([0.01, 0.02]), **ORDINARY)) == (2,)


# Composition.


def test_a_tds_below_its_own_ions_has_no_salt_and_says_so() -> None:
    low, high = (composition(400, 200, tds) for tds in (300, 3000))
    assert bool(low.tds_below_ions) and not bool(high.tds_below_ions)
    assert low.totals.sodium == pytest.approx(low.totals.alkalinity)
    assert high.totals.sodium > high.totals.alkalinity
    assert saturation_index(25.0, 7.5, 400, 200, 300) == pytest.approx(saturation_index(25.0, 7.5, 400, 200, 0))


# Water itself: values of handbooks, from memory.


@pytest.mark.parametrize(
    ("temp_c", "dielectric", "density"), [(5, 85.9, 0.99997), (25, 78.4, 0.99705), (35, 74.8, 0.99403)]
)
def test_dielectric_constant_and_density_of_water(temp_c: float, dielectric: float, density: float) -> None:
    at = np.asarray(float(temp_c))
    assert float(dielectric_constant(at)) == pytest.approx(dielectric, abs=0.15)
    assert float(water_density_g_cm3(at)) == pytest.approx(density, abs=1e-4)


def test_debye_huckel_coefficients_as_phreeqc_prints_them() -> None:
    """DH_A and DH_B of PHREEQC 3 at 5, 25 and 35 degC, run while this was written."""
    for temp_c, a, b in ((5, 0.494241, 0.325384), (25, 0.510025, 0.328491), (35, 0.519205, 0.330116)):
        coefficients = debye_huckel(np.asarray(float(temp_c)))
        assert float(coefficients.a) == pytest.approx(a, rel=2e-4)
        assert float(coefficients.b) == pytest.approx(b, rel=1e-4)


# Bad input.


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"ph": 6.5}, r"pH is 6.5; allowed is 6.8 to 10.5"),
        ({"ph": 11}, r"pH is 11; allowed is 6.8 to 10.5"),
        ({"ph": float("nan")}, r"pH must be a number; allowed is 6.8 to 10.5"),
        ({"temp_c": 45}, r"water temperature is 45 C; allowed is 1 to 40 C"),
        ({"temp_c": float("inf")}, r"water temperature must be a number"),
        ({"calcium_hardness_mg_l": 0}, r"calcium hardness is 0 mg/L as CaCO3; allowed is 1 to 1500"),
        ({"total_alkalinity_mg_l": 700}, r"total alkalinity is 700 mg/L as CaCO3; allowed is 1 to 600"),
        ({"tds_mg_l": 30_000}, r"total dissolved solids is 30000 mg/L; allowed is 0 to 10000 mg/L"),
        ({"cyanuric_acid_mg_l": 400}, r"cyanuric acid is 400 mg/L; allowed is 0 to 300 mg/L"),
        ({"cyanuric_acid_mg_l": 300, "total_alkalinity_mg_l": 60}, r"come to 93.* mg/L, allowed is more than that"),
        ({"ph": 10.5, "total_alkalinity_mg_l": 5}, r"hydroxide, cyanurate and borate alone come to"),
        ({"ph": np.array([7.2, 7.4]), "temp_c": np.array([20.0, 21.0, 22.0])}, r"arrays must have one shape"),
    ],
)
def test_a_value_out_of_range_is_refused_with_the_range(change: dict[str, Any], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        saturation_index(**(ORDINARY | change))


def test_acid_does_not_raise_ph() -> None:
    with pytest.raises(ValueError, match=r"pH to reach is 7.8; acid lowers pH"):
        acid_demand_mmol_l(25.0, 7.4, 7.8, 200, 100, 500)


def test_nothing_is_computed_below_ph_6_8() -> None:
    with pytest.raises(ValueError, match=r"pH to reach is 6.7; allowed is 6.8 to 10.5"):
        acid_demand_mmol_l(25.0, 7.4, 6.7, 200, 100, 500)
    with pytest.raises(ValueError, match=r"pH after this addition is .*; allowed is 6.8 to 10.5"):
        ph_after("HCl", 3.0, **ORDINARY)


def test_lime_beyond_ph_10_5_is_refused() -> None:
    with pytest.raises(ValueError, match=r"pH after this addition is 1\d\.\d\d; allowed is 6.8 to 10.5"):
        ph_after("Ca(OH)2", 2.0, **ORDINARY)


def test_other_substances_and_amounts_are_refused() -> None:
    with pytest.raises(ValueError, match="substance is 'NaOCl'; allowed is one of HCl, NaHCO3"):
        ph_after("NaOCl", 0.1, **ORDINARY)  # type: ignore[arg-type]  # keywords of mixed kinds
    with pytest.raises(ValueError, match=r"addition is -0.1 mmol/L; allowed is 0 to 100 mmol/L"):
        ph_after("HCl", -0.1, **ORDINARY)


def test_the_field_table_refuses_what_it_does_not_hold() -> None:
    with pytest.raises(ValueError, match="calcium hardness is 3 mg/L as CaCO3; allowed is 5 to 1000"):
        saturation_index_field(25.0, 7.5, 3, 100, 500)
    with pytest.raises(ValueError, match=r"alkalinity less cyanurate is .* allowed is 5 to 1000"):
        saturation_index_field(25.0, 7.5, 200, 60, 500, 200)


# The root finder.


@few
@given(st.floats(-3, 3), st.floats(0.2, 5))
def test_a_root_is_found_to_the_width_asked_for(root: float, steep: float) -> None:
    found = bracketed_root(lambda x: np.sinh(steep * (x - root)), np.array(-4.0), np.array(4.0), 1e-9)
    assert float(found) == pytest.approx(root, abs=2e-9)


def test_where_the_bracket_holds_no_root_there_is_none() -> None:
    found = bracketed_root(lambda x: x - np.array([0.5, 9.0]), np.zeros(2), np.ones(2), 1e-9)
    assert found[0] == pytest.approx(0.5) and np.isnan(found[1])
