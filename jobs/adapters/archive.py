"""The archive as a weather source: a bundled year laid onto real dates, with forecasts that err like real ones.

The forecast generator is named by the setting ``ARCHIVE_FORECAST`` (a dotted path), since it is the
demonstration's own.
"""

from __future__ import annotations

import datetime as dt
import zlib
from collections.abc import Callable
from typing import Final

from django.conf import settings
from django.utils.module_loading import import_string

from jobs.timeline.weather import HourlyWeather, joined
from jobs.timeline.weather_files import typical_year

FORECAST_DAYS: Final = 10
PAST: Final = dt.timedelta(days=21)  # observed hours kept before the issue: the shell remembers them
MARGIN: Final = dt.timedelta(days=4)
Generator = Callable[[HourlyWeather, HourlyWeather, dt.datetime, int, int], HourlyWeather]


def archive_truth(name: str, shift_days: int, begin: dt.datetime, end: dt.datetime) -> HourlyWeather:
    """What the archive says happened or will happen between two instants."""
    return typical_year(name).on(begin, end, shift_days=shift_days)


def archive_forecast(name: str, shift_days: int, issued_at: dt.datetime) -> HourlyWeather:
    """Three observed weeks, then the forecast issued at this time; the same issue always says the same."""
    end = issued_at + dt.timedelta(days=FORECAST_DAYS) + MARGIN
    truth = archive_truth(name, shift_days, issued_at - PAST, end)
    year = typical_year(name).on(issued_at, issued_at + dt.timedelta(days=365), shift_days=shift_days)
    generate: Generator = import_string(settings.ARCHIVE_FORECAST)
    seed = zlib.crc32(f"{name}:{issued_at:%Y%m%d%H}".encode())
    forecast = generate(truth, year, issued_at, FORECAST_DAYS, seed)
    return joined((truth.slice(issued_at - PAST, issued_at), forecast))
