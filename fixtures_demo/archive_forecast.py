"""Forecasts for sites whose weather comes from a bundled file."""

from __future__ import annotations

import datetime as dt
from functools import lru_cache

from fixtures_demo.forecast_generator import Usual, forecast_issued
from jobs.timeline.weather import HourlyWeather


def issued(truth: HourlyWeather, year: HourlyWeather, issued_at: dt.datetime, days: int, seed: int) -> HourlyWeather:
    """A forecast of *truth* as issued at that time."""
    return forecast_issued(truth, _usual(year), issued_at, days, seed)


@lru_cache(maxsize=8)
def _usual(year: HourlyWeather) -> Usual:
    return Usual.of(year)
