"""Clark and Allen (1978), Walton (1983), Juerges (1924), Haurwitz (1945): sky, wind and balance of a surface."""

import numpy as np
from scipy.optimize import brentq

from jobs.physics import sky
from jobs.physics.conduction import series_m2_k_w
from jobs.physics.constants import STEFAN_BOLTZMANN_W_M2_K4, WIND_SHARE_AT_SURFACE
from jobs.physics.surface_temperature import (
    Layer,
    Sky,
    Surface,
    column_factors,
    convection_w_m2_k,
    hydration_heat_kj_kg,
    step_column_c,
    surface_flux_w_m2,
)
from tests.published.rows import Record, Row, Runs, agree, every_row

COLUMN = ((0.012, 1.2), (0.2, 1.5), (1.0, 1.2))
DEEP_C = 15.0


def balanced_c(row: Row, resistance: float) -> float:
    """Surface temperature at which the fluxes balance over a resistance to the deep ground."""
    weather = Sky(row["Ta_C"], row["Td_C"], WIND_SHARE_AT_SURFACE * row["v10_m_s"], row["N_tenths"], row["GHI_W_m2"])
    surface = Surface(albedo=row["albedo"], wet=row["wet"], evaporation="uno")

    def left_over(temp: float) -> float:
        return float(surface_flux_w_m2(temp, weather, surface)[0]) - (temp - DEEP_C) / resistance

    return float(brentq(left_over, -40, 80, xtol=1e-9))


def long_wave(row: Row) -> float:
    emissivity = sky.sky_emissivity(row["Tdew_K"] - 273.0, row["N_tenths"])
    return float(emissivity * STEFAN_BOLTZMANN_W_M2_K4 * row["Ta_K"] ** 4)


def amplitude_of_the_scheme(row: Row) -> float:
    """Surface amplitude on the tenth day of a daily wave, 10 mm cells, through a film of fixed conductance."""
    factors = column_factors([Layer(1.5, row["k"], row["rho_c"], 150, 1.0)], row["dt_s"])
    surface = Surface(albedo=0, emissivity=0, convection_w_m2_k=row["h"], deep_c=0.0)
    state, here = np.zeros(150), np.zeros(())
    seen = []
    steps_a_day = int(86_400 / row["dt_s"])
    for step in range(10 * steps_a_day):
        air = float(np.sin(2 * np.pi * (step + 1) / steps_a_day))
        state, here = step_column_c(state, factors, Sky(air, -20, 0, 0, 0), surface, here)
        seen.append(float(here))
    last = seen[-steps_a_day:]
    return (max(last) - min(last)) / 2


def energy_left_over(row: Row) -> float:
    """Heat stored less heat through the surface, over all that passed, 240 steps, closed below."""
    layers = [(0.012, 1.2, 2.0e6, 3, 1.0), (0.2, 1.5, 2.35e6), (1.0, 1.2, 2.4e6)]
    factors = column_factors(layers, row["dt_s"], closed_below=True)
    state, here = np.full(19, 14.0), np.asarray(14.0)
    before, passed, moved = float(state @ factors.capacity_j_m2_k), 0.0, 0.0
    for step in range(240):
        sun = max(0.0, 700 * np.sin(2 * np.pi * step / 24))
        weather = Sky(15 + 10 * np.sin(2 * np.pi * step / 24), 5, 2, 3, sun)
        state, here = step_column_c(state, factors, weather, Surface(wet=0.5), here)
        heat = factors.surface_w_m2_k * (float(here) - state[0]) * row["dt_s"]
        passed, moved = passed + heat, moved + abs(heat)
    return abs(float(state @ factors.capacity_j_m2_k) - before - passed) / moved


RUNS: Runs = {
    "PT-SKY": lambda row: float(sky.sky_emissivity(row["Td_C"], row["N_tenths"])),
    "PT-SKY-P1": lambda row: float(sky.sky_emissivity(row["Tdew_K"] - 273.0, row["N_tenths"])),
    "PT-SKY-P2": long_wave,
    "PT-SKYB": lambda row: float(sky.sky_emissivity_brutsaert(row["Ta_C"], row["Td_C"], row["cloud"])),
    "PT-SKYM": lambda row: float(sky.sky_emissivity_clear_berdahl(row["Td_C"])),
    "PT-HC": lambda row: float(convection_w_m2_k(row["v_m_s"])),
    "PT-GHI": lambda row: float(sky.clear_sky_irradiance_w_m2(row["zenith_deg"])),
    "PT-BAL": lambda row: balanced_c(row, series_m2_k_w(COLUMN)),
    "PT-ADI": lambda row: balanced_c(row, np.inf),
    "PT-FSKY": lambda row: sky.sky_view_of_floor(row["L_m"], row["W_m"], row["depth_m"]),
    "PT-HYD": lambda row: float(hydration_heat_kj_kg(row["te_h"])),
    "PT-NUM-1": amplitude_of_the_scheme,
    "PT-NUM-2": energy_left_over,
}


@every_row(RUNS)
def test_the_balance_of_a_surface_is_reproduced(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)
