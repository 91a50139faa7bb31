"""Any number of generated jobs to learn from: the weather of the odd clusters in another order, forecasts made of it.

A year is put together from blocks of five whole days that fell in odd clusters within 45 days of the date they stand
for, temperatures moved along the annual course. No day of an even cluster is in it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from functools import cache, cached_property
from typing import Final

import numpy as np

from fixtures_demo.forecast_generator import forecast_issued
from jobs.timeline.climate import Climate
from jobs.timeline.crew_room import IntArray
from jobs.timeline.weather import HourlyWeather
from jobs.timeline.weather_quantities import QUANTITIES
from tests.benchmarks.fill_band_jobs import (
    CLUSTER_DAYS,
    FORECAST_DAYS,
    SPAN_H,
    STATIONS,
    BackTestJob,
    Station,
    in_season,
    job_of,
    long_course,
    usual,
    year_of,
)

BLOCK_DAYS: Final = 5
REACH_DAYS: Final = 45
STEP_DAYS: Final = 4
DAYS_BEFORE: Final = 30  # of a long course before 1 January
SEED: Final = 770_000


@dataclass(frozen=True, eq=False)
class RecombinedJob(BackTestJob):
    """A job in a recombined year; *number* of the year, *course* its weather."""

    number: int = field(kw_only=True)
    course: HourlyWeather = field(kw_only=True, repr=False)

    @property
    def seed(self) -> int:
        return SEED * (self.number + 1) + super().seed

    @property
    def truth(self) -> HourlyWeather:
        return self.course.slice(self.issue, self.issue + timedelta(hours=SPAN_H))

    @cached_property
    def forecast(self) -> HourlyWeather:  # asked many times
        name = self.station.name
        return forecast_issued(
            self.course, usual(name), self.issue, FORECAST_DAYS, self.seed, faults=self.station.faults
        )


def recombined_jobs(number: int, step: int = STEP_DAYS) -> Iterator[RecombinedJob]:
    """Jobs of all stations in season, in recombined year *number*."""
    for station in STATIONS:
        season = in_season(station.name)
        for start_day in range(number % step, 365, step):
            if season[start_day]:
                plain = job_of(station, start_day, draw=100 + number)
                yield RecombinedJob(**vars(plain), number=number, course=recombined_course(station, number))


@cache
def recombined_course(station: Station, number: int) -> HourlyWeather:
    """A long course of the station (see :func:`long_course`) whose every day fell in an odd cluster."""
    real = long_course(station.name)
    days = real.hours // 24
    source = _donor_days(days, np.random.default_rng([SEED, station.number, number]))
    hour = (24 * source[:, None] + np.arange(24)).ravel()
    annual = Climate.of(year_of(station.name).weather, real.start).annual_c
    of_year = np.arange(24 * days) - 24 * DAYS_BEFORE
    shift = annual[of_year % annual.size] - annual[(hour - 24 * DAYS_BEFORE) % annual.size]
    fields = {name: getattr(real, name)[hour] for name in QUANTITIES}
    for name in ("temp_air_c", "dew_point_c"):
        fields[name] = fields[name] + shift
    return HourlyWeather(real.start, *fields.values())


def _donor_days(days: int, rng: np.random.Generator) -> IntArray:
    """Day of the long course for each of its days."""
    found: list[int] = []
    while len(found) < days:
        wanted = (len(found) - DAYS_BEFORE) % 365
        first = (wanted + int(rng.integers(-REACH_DAYS, REACH_DAYS + 1))) % 365
        block = [(first + more) % 365 for more in range(BLOCK_DAYS)]
        if all(day // CLUSTER_DAYS % 2 for day in block):
            found += [DAYS_BEFORE + day for day in block]
    return np.array(found[:days])
