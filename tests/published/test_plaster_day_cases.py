"""Worked plaster days: by hand at constant temperature, and on real days of the Greensboro typical year."""

from __future__ import annotations

import functools
from datetime import UTC, datetime, timedelta
from typing import NamedTuple

import numpy as np

from jobs.physics.constants import SETTING_ACTIVATION_K
from jobs.physics.setting import rate_factor, set_time_of_day_h
from jobs.timeline.column import Build, CoatRun, LaidCoats, bare_profiles_c, laid_coats
from jobs.timeline.column_weather import STEPS_AN_HOUR, StepWeather, step_weather
from jobs.timeline.set_clock import PASSES, SetClock
from jobs.timeline.set_table import Coat, set_table_h
from jobs.timeline.trowelling import finishers_needed, pass_times_h
from jobs.timeline.weather import HourlyWeather
from jobs.timeline.weather_files import typical_year
from tests.published.rows import Record, Row, Runs, agree, every_row

MONTHS = {"Apr": 4, "Jul": 7}
CLOCK = SetClock()
TARGETS = CLOCK.targets_h(PASSES)
PASS_ENDS = np.array(PASSES)
INITIAL, FINAL = 3, -2  # places among the targets: 1.00 of initial set, final set


class HandTasks(NamedTuple):
    release_h: np.ndarray
    deadline_h: np.ndarray
    work_h: float


def by_hand(row: Row) -> HandTasks:
    """Tasks of a pool at constant temperature."""
    rate = float(rate_factor(row["T_C"], 23.0, SETTING_ACTIVATION_K))
    initial = row["t_ref_h"] / rate
    mixed = np.arange(row["sections"]) * row["section_m2"] / row["laying_m2_h"]
    return HandTasks(
        mixed[:, None] + PASS_ENDS[:, 0] * initial,
        mixed[:, None] + PASS_ENDS[:, 1] * initial,
        row["section_m2"] / row["trowel_m2_h"],
    )


def slack_min(row: Row, finishers: int) -> float:
    return float(pass_times_h(*by_hand(row), finishers)[1].min() * 60)


@functools.cache
def weather_of(date: str) -> tuple[HourlyWeather, float]:
    """Three days around the file's date in standard time, and the hours from their beginning to midnight."""
    day, month = date.split()
    midnight = datetime(2001, MONTHS[month], int(day), 5, tzinfo=UTC)
    return typical_year("greensboro_nc").on(midnight - timedelta(hours=6), midnight + timedelta(days=3)), 6.0


def protocol_steps(weather: HourlyWeather) -> StepWeather:
    """Quarter hours with the evaporation formula of the rows, wind of 0.48, no shelter, whole sky."""
    return step_weather(weather, 36.1, -79.95, 1.0, 1.0, True, 0)


def coat(albedo: float, mix_c: float) -> CoatRun:
    return CoatRun(albedo, albedo, mix_c, False, False, CLOCK.activation_k, CLOCK.reference_c, 3.5, 4.9, 24.0, True)


@functools.cache
def fixed_case(date: str, start_h: float, first_c: float, deep_c: float, albedo: float) -> LaidCoats:
    """A column at one temperature that is coated at the start hour."""
    weather, base = weather_of(date)
    night = (int((base + 18) * STEPS_AN_HOUR), int((base + 32) * STEPS_AN_HOUR))
    start = np.array([(base + start_h) * STEPS_AN_HOUR])
    bare = np.full((1, 16), first_c)
    steps, laid = protocol_steps(weather), coat(albedo, first_c)
    return laid_coats(steps, start, bare, Build(), deep_c, laid, TARGETS, night, trace_steps=48)


def fixed(row: Row) -> LaidCoats:
    return fixed_case(row["date"], row["start_h"], row["T0_C"], row["Tdeep_C"], row["albedo"])


def temperature_at(row: Row, clock_h: float, what: int) -> float:
    """Surface (0) or coat (1) temperature of a fixed case at a clock time."""
    step = round((clock_h - row["start_h"]) * STEPS_AN_HOUR) - 1
    return float(fixed(row).trace[0, step, what])


@functools.cache
def real_day() -> tuple[np.ndarray, LaidCoats]:
    """Mixing hours and coats of the worked example: bare from 06:00 at 12 C, four sections from 08:00."""
    weather, base = weather_of("15 Apr")
    later = weather.slice(weather.start + timedelta(hours=base + 6), weather.end)
    steps = protocol_steps(later)
    profiles, _ = bare_profiles_c(steps, np.full(16, 12.0), Build(), 14.0, True)
    mixed = np.array([8.0, 8.5, 9.0, 9.5])
    places = mixed - 6
    low = np.floor(places).astype(int)
    share = (places - low)[:, None]
    bare = (1 - share) * profiles[low] + share * profiles[low + 1]
    laid = laid_coats(steps, places * STEPS_AN_HOUR, bare, Build(), 14.0, coat(0.45, np.nan), TARGETS, (1, 0))
    return mixed, laid


def real_tasks() -> tuple[np.ndarray, np.ndarray]:
    mixed, laid = real_day()
    count = 2 * len(PASSES)
    return mixed[:, None] + laid.set_h[0:count:2].T, mixed[:, None] + laid.set_h[1:count:2].T


def naive_initial_set_h(row: Row) -> float:
    """The clock on air temperature, first section."""
    weather, base = weather_of(row["date"])
    table = set_table_h(weather, None, [base + row["start_h"]], Coat(evaporation="uno"), CLOCK)
    return float(table.set_h[INITIAL, 0])


def two_temperatures(row: Row, ratio: float) -> float:
    temps = np.concatenate((np.full(1200, 20.0), np.full(3000, 30.0)))
    return float(set_time_of_day_h(ratio * row["t_ref_h"], row["Tref_C"], temps, 2 / 1200, row["Q_K"]))


RUNS: Runs = {
    "PD-SENS": lambda row: row["Q_K"] / (row["T_C"] + 273.15) ** 2 * row["t_i_min"],
    "PD-SET-1": lambda row: two_temperatures(row, 1.0),
    "PD-SET-2": lambda row: two_temperatures(row, CLOCK.final_ratio),
    "PD-NMIN": lambda row: finishers_needed(*by_hand(row))[0],
    "PD-EDF-1": lambda row: slack_min(row, 3),
    "PD-EDF-2": lambda row: float(pass_times_h(*by_hand(row), 3)[0].max()),
    "PD-EDF-3": lambda row: -slack_min(row, 2),
    "PT-FIX-1": lambda row: float(fixed(row).set_h[INITIAL, 0]),
    "PT-FIX-2": lambda row: float(fixed(row).set_h[FINAL, 0]),
    "PT-FIX-3": lambda row: float(fixed(row).night_min_c[0]),
    "PT-FIX-4": lambda row: temperature_at(row, 11.0, 1),
    "PT-FIX-5": lambda row: float(fixed(row).set_h[INITIAL, 0]),
    "PT-FIX-6": lambda row: temperature_at(row, 12.0, 0),
    "PD-RD-1": lambda row: float(real_day()[1].set_h[INITIAL, 0]),
    "PD-RD-2": lambda row: float(real_day()[1].set_h[INITIAL, -1]),
    "PD-RD-3": lambda row: finishers_needed(*real_tasks(), 0.6)[0],
    "PD-RD-4": lambda row: float(pass_times_h(*real_tasks(), 0.6, row["finishers"])[0].max()),
    "PD-RD-5": lambda row: float(real_day()[0][-1] + real_day()[1].set_h[FINAL, -1]),
    "PD-RD-6": lambda row: float(real_day()[1].drying.max()),
    "PD-RD-7": naive_initial_set_h,
}


@every_row(RUNS)
def test_worked_plaster_days_are_reproduced(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)
