"""Forecasts for sites whose weather comes from a bundled file."""

from __future__ import annotations

import datetime as dt
from functools import lru_cache

from fixtures_demo.forecast_archive import archived_errors
from fixtures_demo.forecast_generator import Usual, forecast_issued
from jobs.timeline.forecast_errors import ForecastErrors
from jobs.timeline.weather import HourlyWeather
from jobs.timeline.weather_files import typical_year

ARCHIVE_SEED = 91_000  # other draws than those of any forecast that is shown


def errors(name: str) -> ForecastErrors:
    """What an archive of such forecasts of a bundled station teaches: the demonstration starts with one."""
    return _errors(name)


def issued(truth: HourlyWeather, year: HourlyWeather, issued_at: dt.datetime, days: int, seed: int) -> HourlyWeather:
    """A forecast of *truth* as issued at that time."""
    return forecast_issued(truth, _usual(year), issued_at, days, seed)


@lru_cache(maxsize=8)
def _usual(year: HourlyWeather) -> Usual:
    return Usual.of(year)


@lru_cache(maxsize=8)
def _errors(name: str) -> ForecastErrors:
    return archived_errors(typical_year(name).weather, ARCHIVE_SEED)
