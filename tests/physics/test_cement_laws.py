"""Laws of setting, hardening, strength, mixing and material that hold whatever the numbers are."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.physics import material
from jobs.physics.setting import (
    activation_energy_j_mol,
    activation_from_set_times_k,
    equivalent_age_h,
    hardening_rate,
    maturity_c_h,
    mix_temperature_c,
    rate_factor,
    rate_factor_fhp,
    set_time_h,
    set_time_of_day_h,
)
from jobs.physics.strength import calendar_days_to_28, strength_ratio, strength_ratio_aci
from tests.physics.laws import LAW, between

temp, activation = between(0, 60), between(2500, 7000)
days = st.lists(between(-5, 50), min_size=1, max_size=48)


@LAW
@given(temp, temp, temp, activation)
def test_rates_chain(a: float, b: float, c: float, q: float) -> None:
    assert rate_factor(a, b, q) * rate_factor(b, c, q) == pytest.approx(rate_factor(a, c, q))
    assert rate_factor(a, a, q) == 1


@LAW
@given(between(-40, 79), between(0.01, 1), activation)
def test_warmth_speeds_setting(t: float, more: float, q: float) -> None:
    assert rate_factor(t + more, 20, q) > rate_factor(t, 20, q)
    assert set_time_h(3, 23, t + more, q) < set_time_h(3, 23, t, q)
    assert hardening_rate(t + more) > hardening_rate(t)


@LAW
@given(between(0.5, 20), temp, activation)
def test_the_set_time_at_the_reference_is_itself(hours: float, t: float, q: float) -> None:
    assert set_time_h(hours, t, t, q) == pytest.approx(hours)


@LAW
@given(between(0.5, 10), between(5, 40), activation, between(0.05, 1))
def test_a_steady_day_sets_in_the_time_of_its_temperature(hours: float, t: float, q: float, step: float) -> None:
    steady = np.full(3000, t)
    assert set_time_of_day_h(hours, 23, steady, step, q) == pytest.approx(set_time_h(hours, 23, t, q))


@LAW
@given(between(0.5, 8), days, activation)
def test_a_warming_day_sets_no_later_than_a_steady_one(hours: float, series: list[float], q: float) -> None:
    warm = np.asarray(series) + np.linspace(0, 5, len(series))
    assert set_time_of_day_h(hours, 23, warm, 1, q) <= set_time_of_day_h(hours, 23, series, 1, q)


def test_a_day_too_short_to_set_says_so_with_infinity() -> None:
    assert set_time_of_day_h(10, 23, [20, 20], 1, 4200) == float("inf")


@LAW
@given(between(1, 10), between(1, 9), activation)
def test_two_set_times_give_back_their_activation(hours: float, apart: float, q: float) -> None:
    cool = float(set_time_h(hours, 23, 23 - 2 - apart, q))
    assert activation_from_set_times_k(cool, 21 - apart, hours, 23) == pytest.approx(q)


@LAW
@given(days, between(0.1, 24))
def test_age_adds_up(series: list[float], step: float) -> None:
    half = len(series) // 2
    parts = [equivalent_age_h(part, step) for part in (series[:half], series[half:]) if part]
    assert sum(map(float, parts)) == pytest.approx(float(equivalent_age_h(series, step)))
    assert sum(map(float, (maturity_c_h(part, step) for part in (series[:half], series[half:])))) == pytest.approx(
        float(maturity_c_h(series, step))
    )


def test_age_sums_over_the_last_axis_only() -> None:
    members = np.array([[10.0, 20.0, 30.0], [5.0, 5.0, 5.0]])
    ages = np.asarray(equivalent_age_h(members, 2.0))
    assert ages.shape == (2,)
    assert ages[1] == pytest.approx(equivalent_age_h([5, 5, 5], 2))


@LAW
@given(between(0, 59))
def test_the_temperature_dependent_activation_never_rises_with_warmth(t: float) -> None:
    assert activation_energy_j_mol(t + 1) <= activation_energy_j_mol(t)
    assert rate_factor_fhp(t + 1) > rate_factor_fhp(t)


@LAW
@given(between(0.1, 1000), between(0.15, 0.45))
def test_strength_grows_and_is_one_at_28_days(age: float, s: float) -> None:
    assert strength_ratio(age * 1.01, s) > strength_ratio(age, s)
    assert strength_ratio_aci(age * 1.01) > strength_ratio_aci(age)
    assert strength_ratio(28, s) == 1
    assert strength_ratio(0, s) == 0


@LAW
@given(between(0, 59))
def test_cold_water_takes_more_days_and_they_come_to_28(t: float) -> None:
    needed = float(calendar_days_to_28(t))
    assert float(calendar_days_to_28(t + 1)) < needed
    assert equivalent_age_h(t, needed) == pytest.approx(28)


@LAW
@given(between(-10, 60), between(0, 60), between(1, 40), between(1, 500), between(1, 500), between(1, 200))
def test_a_mix_is_no_hotter_and_no_colder_than_its_parts(
    stone: float, cement: float, water: float, stone_kg: float, cement_kg: float, water_kg: float
) -> None:
    mixed = mix_temperature_c(stone, cement, water, stone_kg, cement_kg, water_kg)
    assert min(stone, cement, water) - 1e-9 <= mixed <= max(stone, cement, water) + 1e-9
    assert mix_temperature_c(stone, cement, water, 3 * stone_kg, 3 * cement_kg, 3 * water_kg) == pytest.approx(mixed)


@LAW
@given(between(1, 500), between(0, 900), between(1, 300), between(0, 0.2))
def test_yield_scales_and_mass_is_kept(cement: float, stone: float, water: float, voids: float) -> None:
    once, double = (material.batch_yield_m3(n * cement, n * stone, n * water, voids) for n in (1, 2))
    assert double == pytest.approx(2 * float(once))
    density = material.fresh_density_kg_m3(cement, stone, water, voids)
    assert density * once == pytest.approx(cement + stone + water)
    assert material.batch_yield_m3(cement, stone, water, 0) <= once


@LAW
@given(between(0.01, 20), between(1, 100))
def test_coverage_times_thickness_is_the_volume(volume: float, thickness: float) -> None:
    assert material.coverage_m2(volume, thickness) * thickness / 1000 == pytest.approx(volume)


@LAW
@given(between(1, 500), between(5, 30), between(0.02, 1), between(0, 0.2))
def test_batches_are_enough_and_one_fewer_is_not(area: float, thickness: float, volume: float, waste: float) -> None:
    count, each = material.batches(area, thickness, volume, waste), float(material.coverage_m2(volume, thickness))
    assert count * each >= area * (1 + waste) * (1 - 1e-8)
    assert (count - 1) * each < area * (1 + waste)


@LAW
@given(between(1, 500), between(1, 50))
def test_debris_swells_and_scales(area: float, thickness: float) -> None:
    assert material.debris_kg(2 * area, thickness) == pytest.approx(2 * float(material.debris_kg(area, thickness)))
    assert material.debris_loose_m3(area, thickness) >= area * thickness / 1000


@LAW
@given(between(0, 1), between(0.1, 10), between(0.05, 3))
def test_water_is_lost_at_the_drying_rate(share: float, water: float, rate: float) -> None:
    assert material.hours_to_lose(share, water, rate) * rate == pytest.approx(share * water)


@LAW
@given(between(5, 40), between(0.01, 0.2), between(5, 30))
def test_a_thicker_coat_holds_more_water(water: float, volume: float, thickness: float) -> None:
    thin, thick = (float(material.water_in_coat_kg_m2(water, volume, n * thickness)) for n in (1, 2))
    assert thick == pytest.approx(2 * thin)
