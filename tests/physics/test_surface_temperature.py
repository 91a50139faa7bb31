"""The column model against analytic conduction, an independent integrator, and the laws it must keep."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pvlib import clearsky
from scipy.integrate import solve_ivp

from jobs.physics import conduction, constants
from jobs.physics.evaporation import evaporation_menzel_kg_m2_h, evaporation_uno_kg_m2_h
from jobs.physics.psychrometrics import relative_humidity, wind_at_height_m_s
from jobs.physics.sky import clear_sky_irradiance_w_m2, cloudy_irradiance_w_m2, sky_emissivity
from jobs.physics.surface_balance import W_M2_PER_KG_M2_H
from jobs.physics.surface_temperature import (
    Layer,
    Sky,
    Surface,
    column_factors,
    convection_w_m2_k,
    step_column_c,
    surface_flux_w_m2,
)

K, RHO_C = 1.5, 2.35e6
SPREAD = float(conduction.diffusivity_m2_s(K, RHO_C))
NIGHT = Sky(20.0, 10.0, 1.0, 0.0, 0.0)


def run(layers: list[Layer], first: float, sky: Sky, surface: Surface, hours: float, step_s: float = 300) -> tuple:
    factors = column_factors(layers, step_s)
    state, here = np.full(len(factors.own), first), np.asarray(first)
    for _ in range(int(hours * 3600 / step_s)):
        state, here = step_column_c(state, factors, sky, surface, here)
    return factors, state, float(here)


def test_a_step_of_the_air_reaches_into_a_half_space_as_carslaw_and_jaeger_say() -> None:
    """Film of 20 W/m2/K, six hours: 0.6888 of the step at the surface, 0.3332 at 0.1 m (closed form)."""
    surface = Surface(albedo=0, emissivity=0, convection_w_m2_k=20.0, deep_c=0.0)
    factors, state, here = run([Layer(2.0, K, RHO_C, 200, 1.0)], 0.0, Sky(1, -20, 0, 0, 0), surface, 6)
    expected = conduction.step_response(np.array([0.0, 0.1, 0.3]), 6, SPREAD, 20 / K)
    assert here == pytest.approx(expected[0], abs=3e-3)
    assert np.interp([0.1, 0.3], factors.depth_m, state) == pytest.approx(expected[1:], abs=3e-3)


def test_growing_cells_find_the_steady_surface_of_three_layers() -> None:
    """29.2695 C with air at 30 C, 15 C below, film 20 W/m2/K (resistances in series)."""
    layers = [Layer(0.012, 1.2, 2e6, 3, 1.0), Layer(0.2, 1.5, RHO_C), Layer(1.0, 1.2, 2.4e6)]
    surface = Surface(albedo=0, emissivity=0, convection_w_m2_k=20.0, deep_c=15.0)
    _, _, here = run(layers, 15.0, Sky(30, -20, 0, 0, 0), surface, 24 * 120, 3600)
    assert here == pytest.approx(29.2694805, abs=2e-3)


def test_a_hot_body_on_a_cold_one_meets_it_at_the_contact_temperature() -> None:
    """35 C on 15 C meets at 24.04 C, mortar on concrete (two semi-infinite bodies)."""
    factors = column_factors([Layer(0.1, 1.2, 2e6, 100, 1.0), Layer(0.1, K, RHO_C, 100, 1.0)], 5)
    state, here = np.concatenate((np.full(100, 35.0), np.full(100, 15.0))), np.asarray(35.0)
    still = Surface(albedo=0, emissivity=0, convection_w_m2_k=1e-6, deep_c=15.0)
    for _ in range(24):
        state, here = step_column_c(state, factors, Sky(15, -20, 0, 0, 0), still, here)
    meeting = (1.2 * state[99] + K * state[100]) / (1.2 + K)
    assert meeting == pytest.approx(conduction.contact_temperature_c(35, (1.2, 2e6), 15, (K, RHO_C)), abs=0.05)


def test_a_thin_coat_forgets_the_heat_it_was_mixed_with_within_minutes() -> None:
    """The time scale of 12 mm is 163 s; after four of them less than a third of the difference is left."""
    factors = column_factors([Layer(0.012, 1.2, 2e6, 12, 1.0), Layer(0.4, K, RHO_C, 100, 1.05)], 5)
    state, here = np.concatenate((np.full(12, 35.0), np.full(100, 15.0))), np.asarray(35.0)
    still = Surface(albedo=0, emissivity=0, convection_w_m2_k=1e-6, deep_c=15.0)
    for _ in range(int(4 * conduction.coat_memory_s(0.012, 2e6, (K, RHO_C)) / 5)):
        state, here = step_column_c(state, factors, Sky(15, -20, 0, 0, 0), still, here)
    assert state[:12].mean() - 15 < 20 / 3


def test_an_independent_integrator_gives_the_same_day() -> None:
    """Method of lines with an implicit multistep integrator of the library scipy, surface by bisection."""
    depths = np.full(40, 0.3 / 40)
    lead, inner = 2 * K / depths[0], K / depths[0]
    surface = Surface(albedo=0.45, wet=0.6, deep_c=15.0, evaporation="menzel")

    def sky(hour: float) -> Sky:
        return Sky(18 + 6 * np.sin(hour / 3.82), 9.0, 1.5, 3.0, max(0.0, 700 * np.sin(hour / 3.82)))

    def surface_at(first: float, hour: float) -> float:
        low, high = -30.0, 80.0
        for _ in range(60):
            middle = 0.5 * (low + high)
            excess = float(surface_flux_w_m2(middle, sky(hour), surface)[0]) - lead * (middle - first)
            low, high = (middle, high) if excess > 0 else (low, middle)
        return low

    def change(seconds: float, temps: np.ndarray) -> np.ndarray:
        flux = np.empty(41)
        flux[0] = lead * (surface_at(temps[0], seconds / 3600) - temps[0])
        flux[1:40] = inner * (temps[:-1] - temps[1:])
        flux[40] = lead * (temps[-1] - 15.0)
        return (flux[:-1] - flux[1:]) / (RHO_C * depths)

    hours = 10
    exact = solve_ivp(change, (0, 3600 * hours), np.full(40, 15.0), "BDF", rtol=1e-6, atol=1e-6)
    factors = column_factors([Layer(0.3, K, RHO_C, 40, 1.0)], 60)
    state, here = np.full(40, 15.0), np.asarray(15.0)
    for step in range(hours * 60):
        state, here = step_column_c(state, factors, sky((step + 1) / 60), surface, here)
    assert state == pytest.approx(exact.y[:, -1], abs=0.05)
    assert float(here) == pytest.approx(surface_at(exact.y[0, -1], hours), abs=0.05)


def test_the_clear_sky_is_that_of_the_library_pvlib() -> None:
    zenith = np.linspace(0, 100, 101)
    assert clear_sky_irradiance_w_m2(zenith) == pytest.approx(
        clearsky.haurwitz(pd.Series(zenith))["ghi"].to_numpy(), abs=1e-9
    )


@settings(deadline=None)
@given(surface=st.floats(2, 45), air=st.floats(-5, 40), spread=st.floats(0.1, 25), wind=st.floats(0, 12))
def test_drying_inside_the_balance_is_the_public_formula(
    surface: float, air: float, spread: float, wind: float
) -> None:
    dew = air - spread
    humidity = float(relative_humidity(air, dew))
    for formula, public in (("menzel", evaporation_menzel_kg_m2_h), ("uno", evaporation_uno_kg_m2_h)):
        sky = Sky(air, dew, wind, 0, 0)
        dry = surface_flux_w_m2(surface, sky, Surface(evaporation=formula, wet=0.0))[0]
        damp = surface_flux_w_m2(surface, sky, Surface(evaporation=formula, wet=1.0))[0]
        expected = max(0.0, float(public(surface, air, humidity, 3.6 * wind)))
        assert float(dry - damp) / W_M2_PER_KG_M2_H == pytest.approx(expected, rel=1e-6, abs=1e-9)


@settings(deadline=None)
@given(st.floats(-20, 60), st.floats(0, 12), st.floats(0, 1), st.sampled_from(["menzel", "uno"]))
def test_the_slope_is_the_derivative_of_the_flux(surface: float, wind: float, wet: float, formula: str) -> None:
    sky, kind = Sky(20.0, 5.0, wind, 4.0, 300.0), Surface(wet=wet, evaporation=formula)
    left, right = (float(surface_flux_w_m2(surface + side, sky, kind)[0]) for side in (-1e-3, 1e-3))
    _, slope = surface_flux_w_m2(surface, sky, kind)
    if abs(surface - 5.0) > 0.1:  # where drying turns to nothing the derivative jumps
        assert float(slope) == pytest.approx((right - left) / 2e-3, rel=1e-4, abs=1e-3)
    assert float(slope) < 0


def test_clouds_make_the_sky_warmer_and_the_sun_weaker() -> None:
    tenths = np.arange(11.0)
    assert (np.diff(sky_emissivity(np.full(11, 5.0), tenths)) > 0).all()
    assert (np.diff(cloudy_irradiance_w_m2(np.full(11, 30.0), tenths / 10)) < 0).all()
    assert sky_emissivity(35.0, 10.0) <= 1.0


def test_the_published_step_of_convection_at_5_m_s_is_kept() -> None:
    below, above = convection_w_m2_k(np.array([5.0, 5.0 + 1e-9]))
    assert below - above == pytest.approx(0.3, abs=0.1)


def test_columns_side_by_side_are_the_same_as_one_by_one() -> None:
    factors = column_factors([Layer(0.2, K, RHO_C), Layer(1.0, 1.2, 2.4e6)], 900)
    rng = np.random.default_rng(3)
    state = 10 + 10 * rng.random((16, 5))
    sky = Sky(15 + rng.random(5), 8.0, 2 * rng.random(5), 3.0, 500 * rng.random(5))
    together, surfaces = step_column_c(state, factors, sky, Surface(wet=rng.random(5)))
    assert together.shape == state.shape and surfaces.shape == (5,)
    rng = np.random.default_rng(3)
    rng.random((16, 5))
    temps, winds, suns, wets = (rng.random(5) for _ in range(4))
    for one in range(5):
        alone = Sky(15 + temps[one], 8.0, 2 * winds[one], 3.0, 500 * suns[one])
        cells, here = step_column_c(state[:, one], factors, alone, Surface(wet=wets[one]))
        assert cells == pytest.approx(together[:, one]) and float(here) == pytest.approx(surfaces[one])


def test_two_newton_steps_leave_almost_nothing_of_the_surface_balance() -> None:
    """Where the sky changes within a step as much as weather does; half a degree at most, as one step would not."""
    factors = column_factors([Layer(0.012, 1.2, 2e6, 3, 1.0), Layer(0.2, K, RHO_C), Layer(1.0, 1.2, 2.4e6)], 900)
    state, surface = np.full(19, 18.0), Surface(wet=1.0)
    sky = Sky(30.0, 12.0, 4.0, 0.0, 900.0)
    cells, here = step_column_c(state, factors, sky, surface, 18.0)
    flux, _ = surface_flux_w_m2(here, sky, surface)
    assert float(flux) == pytest.approx(factors.surface_w_m2_k * (float(here) - cells[0]), abs=2.0)


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: column_factors([], 900), "at least one layer"),
        (lambda: column_factors([Layer(0, 1, 1e6)], 900), "thickness of a layer is 0 m"),
        (lambda: column_factors([Layer(1, 1, 1e6)], 0.5), "time step is 0.5 s"),
        (lambda: step_column_c(np.zeros(3), column_factors([Layer(1, 1, 1e6)], 900), NIGHT, Surface()), "3 cells"),
        (lambda: surface_flux_w_m2(10.0, NIGHT, Surface(evaporation="guess")), "must be 'menzel' or 'uno'"),
        (lambda: surface_flux_w_m2(10.0, NIGHT._replace(wind_m_s=99), Surface()), "wind at the surface is 99 m/s"),
        (lambda: sky_emissivity(10.0, 11.0), "opaque cloud is 11 tenths"),
        (lambda: clear_sky_irradiance_w_m2(200.0), "zenith angle is 200 degrees"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(call: object, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        call()  # type: ignore[operator]  # of rows with mixed kinds


@pytest.mark.parametrize(
    ("name", "value", "source"),
    [
        ("STEFAN_BOLTZMANN_W_M2_K4", 5.670374e-8, "CODATA 2018, seven digits"),
        ("LATENT_HEAT_J_KG", 2.45e6, "FAO-56, chapter 1"),
        ("SHELL_W_M_K", 1.5, "Bentz 2000, NISTIR 6551, Table 1"),
        ("SHELL_J_M3_K", 1000.0 * 2350.0, "Bentz 2000, NISTIR 6551, Table 1: heat capacity and density of concrete"),
        ("SKY_DEW_KELVIN", 273.0, "Clark and Allen 1978 as quoted"),
        ("CONVECTION_CHANGE_M_S", 5.0, "Juerges 1924 as quoted"),
        ("EMISSIVITY", 0.90, "from memory; 0.85 to 0.95"),
        ("COAT_W_M_K", 1.2, "from memory, fresh mortar; 0.9 to 1.5"),
        ("COAT_J_M3_K", 2.0e6, "from memory; 1.8e6 to 2.4e6"),
        ("SOIL_W_M_K", 1.2, "from memory, moist soil; 0.3 to 2.2"),
        ("SOIL_J_M3_K", 2.4e6, "from memory"),
        ("RAIN_STORE_MM", 0.5, "assumption, no source"),
        ("WET_AFTER_SET", 0.2, "assumption, no source"),
    ],
)
def test_constants_are_those_of_their_source(name: str, value: float, source: str) -> None:
    assert getattr(constants, name) == pytest.approx(value, rel=1e-9), source


def test_the_wind_at_the_surface_is_the_logarithmic_profile_over_short_grass() -> None:
    """Roughness 0.03 m, from 10 m to 0.5 m."""
    assert float(wind_at_height_m_s(1.0, 10, 0.5, 0.03)) == pytest.approx(constants.WIND_SHARE_AT_SURFACE, abs=0.005)


def test_wetting_darkens_and_lighter_coats_reflect_more() -> None:
    """Levinson and Akbari 2002: smooth concretes 0.41 to 0.77; wetting takes 0.23 at most of these."""
    wet, dry = zip(*(constants.ALBEDO[name] for name in ("dark", "grey", "mid", "white")), strict=True)
    assert list(wet) == sorted(wet) and list(dry) == sorted(dry)
    assert all(0.05 < high - low <= 0.23 for low, high in constants.ALBEDO.values())
    assert 0.41 <= constants.ALBEDO["mid"][1] <= 0.77
