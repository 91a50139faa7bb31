"""The fill band: worked examples of its error model, rain, scores (Gneiting and Raftery 2007) and slipping rule."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np

from jobs.timeline.air_rules import AirCourse, DayHabits
from jobs.timeline.crew_room import CrewRoom
from jobs.timeline.fill_band import band
from jobs.timeline.forecast_errors import forecast_error_sd_c, wind_log_sd
from jobs.timeline.limits import Limits
from jobs.timeline.rain_blocks import any_wet, unit_ar1
from jobs.timeline.scores import crps_days, jobs_for_half_width, jobs_to_reject, pinball_days, stated_coverage
from jobs.timeline.set_clock import SetClock
from jobs.timeline.slipping import OwnStint, SlipJob, slips
from jobs.timeline.weather import HourlyWeather
from tests.published.rows import Record, Row, Runs, agree, every_row

TUESDAY = date(2024, 5, 14)


def after_a_day(row: Row) -> float:
    """What is left after 24 h of a single shock to the program's autoregression."""
    shock = np.zeros((1, 25))
    shock[0, 0] = 1.0
    return float(unit_ar1(shock, row["phi_per_h"])[0, 24])


def coldest_of_nine(row: Row) -> float:
    paths = unit_ar1(np.random.default_rng(1).standard_normal((200_000, 9)), row["phi_per_h"])
    return float(paths.min(axis=1).mean())


def sample_of(row: Row) -> np.ndarray:
    text = row["sample"]
    if not isinstance(text, str):
        return np.array(text)
    pairs = (part.split("x") for part in text.split(","))
    return np.concatenate([np.full(int(number), int(day)) for day, number in pairs])


def quantile_of_band(row: Row) -> float:
    found = band(sample_of(row))
    return float({0.5: found.p50, 0.8: found.p80, 0.9: found.p90}[row["a"]])


def ten_degrees(days: int, rain_on: int | None = None) -> HourlyWeather:
    """A constant 10 C from Tuesday midnight, dry but for one day."""
    hours = 24 * days
    rain = np.zeros(hours)
    if rain_on is not None:
        rain[24 * rain_on : 24 * rain_on + 24] = 1.0
    mild = np.full(hours, 10.0)
    start = datetime(TUESDAY.year, TUESDAY.month, TUESDAY.day, tzinfo=UTC)
    return HourlyWeather.of(start, temp_air_c=mild, dew_point_c=mild - 5, wind_m_s=np.full(hours, 2.0), rain_mm=rain)


def bond_age(until_h: int) -> float:
    course = AirCourse.of(ten_degrees(3), Limits(), SetClock(), DayHabits())
    return float(course.cure_gain_h(np.array([0]), 15, until_h)[0])


def plaster_weekday(row: Row) -> str:
    """Bond coat on Tuesday; rain on Thursday; on Friday no plaster crew has room."""
    assert row["bond"] == "Tue"
    prep = np.zeros((11, 24), dtype=bool)
    prep[:, 8:16] = True
    plaster = np.ones(11, dtype=bool)
    plaster[3] = False
    room = CrewRoom("UTC", TUESDAY, 10, prep, plaster)
    job = SlipJob(stage="bond", own={"bond": OwnStint(0, 0)})
    result = slips(ten_degrees(14, rain_on=2), job, room, 0.0)
    assert result.bond_day[0] == 0
    assert result.fill_day[0] == result.plaster_day[0] + 1
    return (TUESDAY + timedelta(days=int(result.plaster_day[0]))).strftime("%a")


RUNS: Runs = {
    "FB-SD-1": lambda row: float(forecast_error_sd_c(row["lead_day"])),
    "FB-SD-4": lambda row: float(wind_log_sd(row["lead_day"])),
    "FB-AR-1": after_a_day,
    "FB-MIN": coldest_of_nine,
    "FB-RAIN-1": lambda row: any_wet([row["PoP1"], row["PoP2"]], row["rho"]),
    "FB-RAIN-4": lambda row: any_wet([row["PoP"]] * 4, row["rho"]),
    "FB-CRPS": lambda row: float(crps_days(row["sample"], row["outcome"])),
    "FB-PIN": lambda row: float(pinball_days(row["q"], row["t"], row["a"])),
    "FB-Q": quantile_of_band,
    "FB-Q-4": lambda row: float(stated_coverage(sample_of(row), 0.9)),
    "FB-N": lambda row: jobs_for_half_width(row["half_width"]),
    "FB-N-3": lambda row: jobs_to_reject(0.9, row["p_true"], row["power"]),
    "FB-SLIP-1": lambda row: bond_age(24 + 7),
    "FB-SLIP-2": lambda row: bond_age(48 + 7),
    "FB-SLIP-3": plaster_weekday,
}


@every_row(RUNS)
def test_the_worked_examples_of_the_fill_band_hold(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)
