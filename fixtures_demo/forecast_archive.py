"""What an archive of made forecasts of a station teaches about their errors: the demonstration starts with one."""

from __future__ import annotations

from datetime import timedelta
from functools import lru_cache
from typing import Final

from fixtures_demo.forecast_generator import INLAND, MARGIN_H, YEAR_H, Faults, Usual, forecast_issued
from jobs.timeline.forecast_errors import ForecastErrors
from jobs.timeline.forecast_learning import KeptForecast, learned_errors
from jobs.timeline.weather import HourlyWeather

DAYS: Final = 7
HOUR: Final = timedelta(hours=1)


@lru_cache(maxsize=8)
def archived_errors(year: HourlyWeather, seed: int, every_days: int = 3, faults: Faults = INLAND) -> ForecastErrors:
    """Errors learned from forecasts of a year, one every few days.

    Parameters
    ----------
    year : 8760 hours of a station
    seed : of the forecasts
    every_days : days between issues
    faults : how the forecasts err; the same as those of the forecasts that are shown
    """
    usual = Usual.of(year)
    kept = []
    last = YEAR_H - MARGIN_H - 24 * DAYS
    for number, begin in enumerate(range(MARGIN_H, last, 24 * every_days)):
        issue = year.start + begin * HOUR
        said = forecast_issued(year, usual, issue, DAYS, seed + number, faults)
        kept.append(KeptForecast(said, year.slice(issue, issue + timedelta(days=DAYS))))
    return learned_errors(kept, year, DAYS)
