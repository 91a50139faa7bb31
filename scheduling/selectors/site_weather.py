"""One course of weather for a day on site: what was observed and forecast, the typical year around it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Final

import numpy as np

from jobs.models import Site
from jobs.selectors.weather import SiteWeather, archive_of, site_weather
from jobs.timeline.weather import HourlyWeather, joined

SOIL_DAYS: Final = 20  # the shell below remembers so many days
DAYS_AFTER: Final = 5
EVEN: Final = 0.5  # chance from which an hour without a stated amount counts as wet [CP]
WET_HOUR_MM: Final = 0.6  # of such an hour [CP]


@dataclass(frozen=True)
class DayCourse:
    """Weather around one day; *typical* where the day itself lies outside the forecast that is kept.

    rain_chance : largest stated chance of rain of the day where the forecast states no amounts, else None. Amounts are
        stated for about three days only; beyond, an hour counts as wet from an even chance on.
    """

    weather: HourlyWeather
    issued_at: dt.datetime
    typical: bool
    sun_shift_days: int
    rain_chance: float | None = None


def day_course(site: Site, default_source: str, midnight: dt.datetime) -> DayCourse | None:
    """Hours from 20 days before the midnight to 5 days after it; None where no weather was ever fetched."""
    found = site_weather(site, default_source)
    if found is None:
        return None
    begin, end = midnight - dt.timedelta(days=SOIL_DAYS), midnight + dt.timedelta(days=DAYS_AFTER)
    archive = archive_of(found.source)
    inside = found.forecast.start <= midnight and midnight + dt.timedelta(hours=24) <= found.forecast.end
    course = _course(found, begin, end)
    return DayCourse(
        _rain_by_chance(course),
        found.issued_at,
        not inside,
        archive[1] if archive else 0,
        _chance_without_amount(course, midnight) if inside else None,
    )


def _rain_by_chance(course: HourlyWeather) -> HourlyWeather:
    """Hours with a stated chance but no amount of rain: wet from an even chance on, else dry."""
    open_hours = np.isnan(course.rain_mm) & np.isfinite(course.rain_probability)
    if not open_hours.any():
        return course
    likely = np.where(course.rain_probability >= EVEN, WET_HOUR_MM, 0.0)
    return course.with_fields(rain_mm=np.where(open_hours, likely, course.rain_mm))


def _chance_without_amount(course: HourlyWeather, midnight: dt.datetime) -> float | None:
    day = course.slice(midnight, midnight + dt.timedelta(hours=24))
    chances = day.rain_probability[np.isnan(day.rain_mm) & np.isfinite(day.rain_probability)]
    return float(chances.max()) if chances.size else None


def _course(found: SiteWeather, begin: dt.datetime, end: dt.datetime) -> HourlyWeather:
    known, year = found.forecast, found.climatology
    begin, end = max(begin, year.start), min(end, year.end)
    if end <= known.start or known.end <= begin:
        return year.slice(begin, end)
    parts = [known.slice(max(begin, known.start), min(end, known.end))]
    if begin < known.start:
        parts.insert(0, year.slice(begin, known.start))
    if known.end < end:
        parts.append(year.slice(known.end, end))
    return joined(parts)
