"""A pool's column through the weather: the bare shell before, the coat while it sets, its first night."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from jobs.physics.compiled import compiled
from jobs.physics.constants import (
    ALBEDO,
    COAT_J_M3_K,
    COAT_W_M_K,
    EMISSIVITY,
    HARDENING_ACTIVATION_K,
    HYDRATION_HEAT,
    RAIN_STORE_MM,
    SHELL_J_M3_K,
    SHELL_W_M_K,
    SOIL_J_M3_K,
    SOIL_W_M_K,
    WET_AFTER_SET,
)
from jobs.physics.surface_balance import drying_base
from jobs.physics.surface_temperature import ColumnFactors, Layer, advance, column_factors
from jobs.physics.validity import FloatArray
from jobs.timeline.column_weather import STEP_S, STEPS_AN_HOUR, StepWeather
from jobs.timeline.set_clock import FROST_REFERENCE_C, LONGEST_H, rate

COAT_CELLS: Final = 3
CELLS: Final = 8  # of the shell, and of the soil
SOIL_M: Final = 1.0
READING_DEPTH_M: Final = 0.13  # daily damping depth of the shell: how deep a reading corrects
SAVED_EVERY: Final = STEPS_AN_HOUR  # steps between saved profiles of the bare shell


class CoatRun(NamedTuple):
    """What the coat of one column is, for the inner loop."""

    albedo_wet: float
    albedo_dry: float
    mix_c: float  # NaN: that of the air
    hydration: bool
    rain_store: bool
    activation_k: float
    reference_c: float
    initial_h: float  # equivalent hours
    final_h: float
    frost_safe_age_h: float
    uno: bool


class LaidCoats(NamedTuple):
    """What became of coats laid at several steps.

    set_h : hours from mixing [target, batch]
    drying : largest free-water evaporation until final set [batch]
    coat_max_c, surface_min_c : until final set; while frost can do harm [batch]
    night_min_c : lowest surface temperature between the two night steps [batch]
    trace : surface [C], coat [C], free-water evaporation [kg/m2/h] after each step [batch, step, 3]; NaN after the
        end; without steps unless asked for
    """

    set_h: FloatArray
    drying: FloatArray
    coat_max_c: FloatArray
    surface_min_c: FloatArray
    night_min_c: FloatArray
    trace: FloatArray


@dataclass(frozen=True)
class Build:
    """Thicknesses of coat and shell [m]."""

    coat_m: float = 0.012
    shell_m: float = 0.20


@lru_cache(maxsize=256)
def factors_of(build: Build, coated: bool, step_s: int = STEP_S) -> ColumnFactors:
    """Factors of the bare or the coated column: 3 cells of coat, 8 of shell, 8 of soil over 1 m."""
    layers = [
        Layer(build.shell_m, SHELL_W_M_K, SHELL_J_M3_K, CELLS),
        Layer(SOIL_M, SOIL_W_M_K, SOIL_J_M3_K, CELLS),
    ]
    if coated:
        layers.insert(0, Layer(build.coat_m, COAT_W_M_K, COAT_J_M3_K, COAT_CELLS, 1.0))
    return column_factors(layers, step_s)


def first_profile_c(build: Build, mean_c: float, recent_c: float) -> FloatArray:
    """Profile of the bare column at the start: ``Tm + (recent - Tm) exp(-z / 1 m)`` [cell]."""
    depth = factors_of(build, False).depth_m
    profile: FloatArray = mean_c + (recent_c - mean_c) * np.exp(-depth)
    return profile


class Readings(NamedTuple):
    """Temperatures measured on site: step, value [C], weight (a repeat counts half) [reading]."""

    step: NDArray[np.int64]
    value_c: FloatArray
    weight: FloatArray


NO_READINGS: Final = Readings(np.empty(0, np.int64), np.empty(0), np.empty(0))


def readings_at(places_h: Sequence[tuple[float, float]]) -> Readings:
    """Readings (hours from the beginning of the weather, temperature [C]) for the inner loops."""
    ordered = sorted(places_h)
    return Readings(
        np.array([int(place * STEPS_AN_HOUR) for place, _ in ordered], np.int64),
        np.array([value for _, value in ordered], np.float64),
        np.array([1.0 if number == 0 else 0.5 for number in range(len(ordered))], np.float64),
    )


def bare_profiles_c(
    weather: StepWeather,
    first_c: FloatArray,
    build: Build,
    deep_c: float,
    uno: bool,
    readings: Readings = NO_READINGS,
) -> tuple[FloatArray, FloatArray]:
    """Bare prepared shell through the weather.

    Returns
    -------
    profiles at each whole hour from the start [hour + 1, cell]; surface temperature at the end of each step [step]
    """
    wet, dry = ALBEDO["bare"]
    return run_bare(weather, first_c, factors_of(build, False), deep_c, wet, dry, uno, readings)


def laid_coats(
    weather: StepWeather,
    lay_steps: FloatArray,
    profiles_c: FloatArray,
    build: Build,
    deep_c: float,
    coat: CoatRun,
    targets_h: FloatArray,
    night_steps: tuple[int, int],
    readings: Readings = NO_READINGS,
    trace_steps: int = 0,
) -> LaidCoats:
    """Coats laid at the given steps on the given bare profiles [batch, cell], with a trace if asked for."""
    return LaidCoats(
        *run_coats(
            weather,
            lay_steps,
            profiles_c,
            factors_of(build, True),
            deep_c,
            coat,
            targets_h,
            build.coat_m,
            night_steps[0],
            night_steps[1],
            readings,
            np.full((len(lay_steps), trace_steps, 3), np.nan),
        )
    )


def correct_profile_c(profile_c: FloatArray, depth_m: FloatArray, surface_c: float, reading_c: float) -> FloatArray:
    """Profile brought to a reading of the surface: ``T + (reading - Ts) exp(-x / 0.13 m)`` [cell].

    0.13 m is the depth to which a day's wave of temperature reaches in concrete.
    """
    corrected: FloatArray = profile_c + (reading_c - surface_c) * np.exp(-depth_m / READING_DEPTH_M)
    return corrected


@compiled
def set_terms(terms: FloatArray, weather: StepWeather, step: int, albedo: float, wet: float) -> None:
    """The terms of the surface balance of one step, for :func:`advance`."""
    terms[0] = (1.0 - albedo) * weather.sun_w_m2[step] + weather.long_wave_w_m2[step]
    terms[1] = EMISSIVITY
    terms[2] = weather.convection_w_m2_k[step]
    terms[3] = weather.air_c[step]
    terms[4] = weather.drying_factor[step]
    terms[5] = weather.drying_air[step]
    terms[6] = wet


@compiled
def free_water_kg_m2_h(weather: StepWeather, step: int, surface_c: float, uno: bool) -> float:
    """Evaporation of free water at the surface."""
    base, _ = drying_base(surface_c, uno)
    return float(max(0.0, weather.drying_factor[step] * (base - weather.drying_air[step])))


@compiled
def corrected(cells: FloatArray, depth_m: FloatArray, surface_c: float, step: int, readings: Readings) -> float:
    """Bring the cells to a reading of this step, if there is one; returns what the surface moves by."""
    moved = 0.0
    for one in range(len(readings.step)):
        if readings.step[one] == step:
            off = readings.weight[one] * (readings.value_c[one] - surface_c - moved)
            for i in range(len(cells)):
                cells[i] += off * np.exp(-depth_m[i] / READING_DEPTH_M)
            moved += off
    return moved


@compiled
def run_bare(
    weather: StepWeather,
    first_c: FloatArray,
    factors: ColumnFactors,
    deep_c: float,
    albedo_wet: float,
    albedo_dry: float,
    uno: bool,
    readings: Readings,
) -> tuple[FloatArray, FloatArray]:
    """See :func:`bare_profiles_c`; a step without weather keeps the state."""
    steps = len(weather.air_c)
    cells = first_c.copy()
    saved = np.empty((steps // SAVED_EVERY + 1, len(cells)))
    saved[0] = cells
    surface = np.empty(steps)
    terms, heat = np.empty(7), np.zeros(len(cells))
    here, store = cells[0], 0.0
    for step in range(steps):
        if not np.isnan(weather.air_c[step]):
            store = min(RAIN_STORE_MM, store + weather.rain_mm[step])
            wet = store > 0.0
            set_terms(terms, weather, step, albedo_wet if wet else albedo_dry, 1.0 if wet else 0.0)
            here = advance(cells, factors, terms, heat, deep_c, here, uno)
            if wet:
                store = max(0.0, store - free_water_kg_m2_h(weather, step, here, uno) / STEPS_AN_HOUR)
            here += corrected(cells, factors.depth_m, here, step, readings)
        surface[step] = here
        if (step + 1) % SAVED_EVERY == 0:
            saved[(step + 1) // SAVED_EVERY] = cells
    return saved, surface


@compiled
def run_coats(
    weather: StepWeather,
    lay_steps: FloatArray,
    profiles_c: FloatArray,
    factors: ColumnFactors,
    deep_c: float,
    coat: CoatRun,
    targets_h: FloatArray,
    coat_m: float,
    night_from: int,
    night_to: int,
    readings: Readings,
    trace: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """See :func:`laid_coats`. A batch ends when all targets, frost safety and the night are past."""
    batches, targets = len(lay_steps), len(targets_h)
    set_h = np.full((targets, batches), np.inf)
    drying, hottest = np.zeros(batches), np.full(batches, -np.inf)
    coldest, night = np.full(batches, np.inf), np.full(batches, np.inf)
    cells = np.empty(COAT_CELLS + profiles_c.shape[1])
    terms, heat = np.empty(7), np.zeros(len(cells))
    last = targets_h.max()
    dt = 1.0 / STEPS_AN_HOUR
    for batch in range(batches):
        first = int(lay_steps[batch])
        if first >= len(weather.air_c):
            continue
        mixed = weather.air_c[max(first - 1, 0)] if np.isnan(coat.mix_c) else coat.mix_c
        cells[:COAT_CELLS] = mixed
        cells[COAT_CELLS:] = profiles_c[batch]
        here, store, age, frost_age, released = mixed, 0.0, 0.0, 0.0, 0.0
        for count in range(int(LONGEST_H * STEPS_AN_HOUR)):
            step = first + count
            if step >= len(weather.air_c) or np.isnan(weather.air_c[step]):
                break
            done = age >= last and frost_age >= coat.frost_safe_age_h and step > night_to
            if done and count >= trace.shape[1]:
                break
            if coat.rain_store:
                store = min(RAIN_STORE_MM, store + weather.rain_mm[step])
            wet = wetness(age, coat)
            if store > 0.0:
                wet = 1.0
            if coat.hydration:
                now = coat_heat_j_m3(age)
                heat[:COAT_CELLS] = max(now - released, 0.0) / STEP_S * coat_m / COAT_CELLS
                released = now
            set_terms(terms, weather, step, coat.albedo_wet, wet)
            here = advance(cells, factors, terms, heat, deep_c, here, coat.uno)
            here += corrected(cells, factors.depth_m, here, step, readings)
            middle = (cells[0] + cells[1] + cells[2]) / COAT_CELLS
            if store > 0.0:
                store = max(0.0, store - free_water_kg_m2_h(weather, step, here, coat.uno) * dt)
            gain = rate(middle, coat.activation_k, coat.reference_c) * dt
            loss = free_water_kg_m2_h(weather, step, here, coat.uno)
            if count < trace.shape[1]:
                trace[batch, count, 0], trace[batch, count, 1], trace[batch, count, 2] = here, middle, loss
            if age < coat.final_h:
                drying[batch] = max(drying[batch], loss)
                hottest[batch] = max(hottest[batch], middle)
            if frost_age < coat.frost_safe_age_h:
                coldest[batch] = min(coldest[batch], here)
                frost_age += rate(here, HARDENING_ACTIVATION_K, FROST_REFERENCE_C) * dt
            if night_from <= step <= night_to:
                night[batch] = min(night[batch], here)
            for one in range(targets):
                if age < targets_h[one] <= age + gain:
                    set_h[one, batch] = count * dt + dt * (targets_h[one] - age) / gain
            age += gain
    return set_h, drying, hottest, coldest, night, trace


@compiled
def wetness(age_h: float, coat: CoatRun) -> float:
    """Share of free-water evaporation: 1 until initial set, falling to 0.2 at final set [assumption]."""
    if age_h <= coat.initial_h:
        return 1.0
    if age_h >= coat.final_h:
        return WET_AFTER_SET
    return float(1.0 - (1.0 - WET_AFTER_SET) * (age_h - coat.initial_h) / (coat.final_h - coat.initial_h))


@compiled
def coat_heat_j_m3(age_h: float) -> float:
    """Heat released by the coat since mixing [J/m3], by equivalent age; see ``hydration_heat_kj_kg``."""
    cement, whole, limit, scale, power = HYDRATION_HEAT
    return float(1000.0 * cement * whole * limit * np.exp(-((scale / max(age_h, 0.001)) ** power)))
