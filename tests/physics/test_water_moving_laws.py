"""Laws of uplift, pumping, filling and units that hold whatever the numbers are."""

from __future__ import annotations

import inspect

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.physics import hydraulics
from jobs.physics.hydraulics import (
    UPLIFT_CAUTION,
    fill_h,
    flotation_safety_factor,
    friction_loss_kpa_m,
    head_at_factor_m,
    hose_flow_l_min,
    pump_out_h,
    pump_power_kw,
    water_to_keep_m,
)
from jobs.physics.units import UNITS, convert, duration_h
from tests.physics.laws import LAW, between

shell, ground, head = between(50, 5000), between(5, 400), between(0.05, 6)


@LAW
@given(shell, ground, head, between(0, 500), between(0, 500))
def test_more_groundwater_holds_less_and_more_weight_holds_more(
    weight: float, area: float, height: float, water: float, load: float
) -> None:
    factor = flotation_safety_factor(weight, area, height, water, load)
    assert flotation_safety_factor(weight, area, height * 1.1, water, load) < factor
    assert flotation_safety_factor(weight * 1.1, area, height, water, load) > factor
    assert flotation_safety_factor(2 * weight, 2 * area, height, 2 * water, 2 * load) == pytest.approx(factor)


@LAW
@given(shell, ground, between(1, 3))
def test_the_head_of_a_factor_gives_that_factor(weight: float, area: float, factor: float) -> None:
    height = float(head_at_factor_m(factor, weight, area))
    if height < 15:
        assert flotation_safety_factor(weight, area, height) == pytest.approx(factor)


@LAW
@given(shell, ground, head, between(1, 2))
def test_the_water_to_keep_makes_up_what_is_missing(weight: float, area: float, height: float, factor: float) -> None:
    depth = water_to_keep_m(factor, weight, area, 0.9 * area, height)
    kept = depth * 0.9 * area * hydraulics.WATER_KN_M3
    reached = flotation_safety_factor(weight, area, height, water_kn=kept)
    assert reached == pytest.approx(factor) if depth else reached >= factor


def test_no_word_of_safety_stands_beside_the_factor() -> None:
    """Whoever reads the factor reads the caution; neither it nor any message calls a pool safe to drain."""
    assert "not a permission to drain" in UPLIFT_CAUTION
    assert "licensed engineer" in UPLIFT_CAUTION
    assert "hydrostatic relief valve" in UPLIFT_CAUTION
    source = inspect.getsource(hydraulics).replace("safety_factor", "").replace("factor of safety", "")
    assert " safe " not in source and "is safe" not in source
    for function in (flotation_safety_factor, head_at_factor_m, water_to_keep_m):
        assert "caution" in (function.__doc__ or "").lower()


@LAW
@given(between(5, 200), between(50, 900), between(6, 30), between(0, 0.5), between(0.1, 0.4))
def test_pumping_in_two_stages_takes_as_long_as_in_one(
    area: float, flow: float, shutoff: float, start: float, more: float
) -> None:
    first, second, third = start * shutoff, (start + more / 2) * shutoff, (start + more) * shutoff
    stages = [float(pump_out_h(area, flow, shutoff, a, b)) for a, b in ((first, second), (second, third))]
    whole = float(pump_out_h(area, flow, shutoff, first, third))
    assert sum(stages) == pytest.approx(whole)
    assert whole > float(fill_h(area * (third - first), flow))  # never as fast as without lift


@LAW
@given(between(1, 500), between(5, 500), between(1.1, 4))
def test_time_times_flow_is_the_volume(volume: float, flow: float, hoses: float) -> None:
    assert float(fill_h(volume, flow)) * flow * 60 / 1000 == pytest.approx(volume)
    assert float(fill_h(volume, flow * hoses)) * hoses == pytest.approx(float(fill_h(volume, flow)))


@LAW
@given(between(50, 600), between(5, 150), between(9, 40), between(100, 150))
def test_a_hose_loses_about_the_pressure_that_drives_it(p: float, length: float, across: float, c: float) -> None:
    """NFPA's rounded exponents and EPANET's differ by up to 2 % over garden hoses."""
    flow = hose_flow_l_min(p, length, across, c)
    assert float(friction_loss_kpa_m(flow, across, c)) * length == pytest.approx(p, rel=0.02)


@LAW
@given(between(50, 500), between(5, 150), between(9, 40))
def test_pressure_and_width_help_and_length_hinders(p: float, length: float, across: float) -> None:
    flow = float(hose_flow_l_min(p, length, across))
    assert float(hose_flow_l_min(2 * p, length, across)) == pytest.approx(flow * 2 ** (1 / 1.852))
    assert float(hose_flow_l_min(2 * p, 2 * length, across)) == pytest.approx(flow)
    assert float(hose_flow_l_min(p, length, 1.1 * across)) > flow


@LAW
@given(between(1, 900), between(0.1, 40), between(0.2, 1))
def test_power_grows_with_what_the_pump_wastes(flow: float, lift: float, share: float) -> None:
    assert float(pump_power_kw(flow, lift, share)) * share == pytest.approx(float(pump_power_kw(flow, lift)))


@LAW
@given(between(-1e4, 1e4), st.sampled_from([(a, b) for a in UNITS for b in UNITS if UNITS[a][0] == UNITS[b][0]]))
def test_every_conversion_leads_back(value: float, pair: tuple[str, str]) -> None:
    there = convert(value, *pair)
    assert convert(there, pair[1], pair[0]) == pytest.approx(value, rel=1e-12, abs=1e-9)


@LAW
@given(st.integers(0, 60), st.integers(0, 23), st.integers(0, 59), st.integers(1, 59))
def test_every_duration_is_read(days: int, hours: int, minutes: int, seconds: int) -> None:
    read = duration_h(f"P{days}DT{hours}H{minutes}M{seconds}S")
    assert read == pytest.approx(days * 24 + hours + minutes / 60 + seconds / 3600)


@pytest.mark.parametrize("text", ["", "P", "PT", "P1Y", "P1M", "P1W", "1H", "PT1", "P1DT", "PT-1H", "pt1h", "PT1H "])
def test_what_is_no_duration_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="is not a duration"):
        duration_h(text)


def test_units_that_do_not_belong_together_are_refused() -> None:
    with pytest.raises(ValueError, match="choose one quantity"):
        convert(1, "ft", "kg")
    with pytest.raises(ValueError, match="not a unit known"):
        convert(1, "cubit", "m")
