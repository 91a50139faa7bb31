"""Forecasts are kept with what came of them, and how wrong a source is at a place is learned from the pairs.

What came is the first hours of later issues (an analysis, hours after the fact), or the archive's own hours.
"""

from __future__ import annotations

import datetime as dt
from typing import Final

import numpy as np
from django.db import transaction

from jobs.models import ForecastKept, WeatherCell
from jobs.selectors.weather import cell_climate, errors_before, forecast_latest, unpack
from jobs.timeline.climate import wind_scale
from jobs.timeline.errors_json import errors_as_json
from jobs.timeline.forecast_learning import KeptForecast, learned_errors
from jobs.timeline.kept_forecasts import SAID, Spread, came_of, forecast_of, observed_of, said_of
from jobs.timeline.weather import HourlyWeather
from jobs.timeline.weather_quantities import HOUR

KEPT_FROM_H: Final = 6  # UTC; forecasts are compared from this hour of each day on
DAYS: Final = 7  # compared
DAYS_LEAST: Final = 3
LEAST_LEARNED_FROM: Final = 60  # forecasts before anything is learned [BAND]
MOST_KEPT: Final = 400
NEEDED: Final = ("temp_air_c", "dew_point_c", "wind_m_s", "rain_mm")


def forecast_note(
    cell: WeatherCell, weather: HourlyWeather, *, issued_at: dt.datetime, members: HourlyWeather | None = None
) -> ForecastKept | None:
    """Keep a forecast from the next 06 UTC on, for as many whole days as it covers; the latest issue before counts.

    None where it covers fewer than three days.
    """
    starts = _next_start(issued_at)
    days = min(DAYS, int((weather.end - starts) / dt.timedelta(days=1)))
    if days < DAYS_LEAST or weather.start > starts:
        return None
    until = starts + dt.timedelta(days=days)
    spread = None
    if members is not None and members.start <= starts and members.end >= until:
        own = members.slice(starts, until)
        spread = Spread(own.temp_air_c.std(axis=0, ddof=1), wind_scale(own.wind_m_s).std(axis=0, ddof=1))
    row, _ = ForecastKept.objects.update_or_create(
        cell=cell,
        starts=starts,
        defaults={"issued_at": issued_at, "count": 24 * days, "said": said_of(weather.slice(starts, until), spread)},
    )
    return row


def came_note(cell: WeatherCell) -> int:
    """Put what came beside the kept forecasts whose hours are over; returns how many."""
    latest = forecast_latest(cell)
    if latest is None:
        return 0
    known, done = unpack(latest), 0
    for row in cell.forecasts_kept.filter(came=None, starts__gte=known.start, starts__lt=latest.issued_at):
        until = row.starts + row.count * HOUR
        if until <= min(latest.issued_at, known.end):
            row.came = came_of(known.slice(row.starts, until))
            row.save(update_fields=["came"])
            done += 1
    return done


@transaction.atomic
def errors_learn(cell: WeatherCell, now: dt.datetime) -> int:
    """Learn from the pairs of a cell; returns how many there are. Fewer than 60 change nothing."""
    came_note(cell)
    old = cell.forecasts_kept.order_by("-starts").values_list("pk", flat=True)[MOST_KEPT:]
    ForecastKept.objects.filter(pk__in=list(old)).delete()
    rows = list(cell.forecasts_kept.exclude(came=None).order_by("starts"))
    days = _days_of(rows)
    pairs = [pair for pair in (_pair(row, days) for row in rows) if pair is not None]
    if len(pairs) < LEAST_LEARNED_FROM:
        return len(pairs)
    found = learned_errors(pairs, cell_climate(cell, now.date()), days, errors_before(cell.source))
    cell.errors, cell.errors_at = errors_as_json(found), now
    cell.save(update_fields=["errors", "errors_at"])
    return len(pairs)


def _next_start(issued_at: dt.datetime) -> dt.datetime:
    same = issued_at.astimezone(dt.UTC).replace(hour=KEPT_FROM_H, minute=0, second=0, microsecond=0)
    return same if same >= issued_at else same + dt.timedelta(days=1)


def _days_of(rows: list[ForecastKept]) -> int:
    """Whole days that four of five pairs cover."""
    days = sorted(row.count // 24 for row in rows)
    return days[len(days) // 5] if days else DAYS


def _pair(row: ForecastKept, days: int) -> KeptForecast | None:
    """A forecast with what came; None where either is too short or has a gap that matters."""
    if row.count < 24 * days or row.came is None:
        return None
    forecast, spread = forecast_of(row.starts, bytes(row.said))
    observed = observed_of(row.starts, bytes(row.came))
    until = row.starts + dt.timedelta(days=days)
    forecast, observed = forecast.slice(row.starts, until), observed.slice(row.starts, until)
    gaps = [getattr(observed, name) for name in NEEDED]
    gaps += [getattr(forecast, name) for name in NEEDED if name in SAID]
    if any(np.isnan(values).any() for values in gaps):
        return None
    if spread is not None:
        spread = Spread(spread.temp_c[: 24 * days], spread.wind[: 24 * days])
    return KeptForecast(forecast, observed, spread)
