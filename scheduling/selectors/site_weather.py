"""One course of weather for a day on site: what was observed and forecast, the typical year around it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Final

from jobs.models import Site
from jobs.selectors.weather import SiteWeather, archive_of, site_weather
from jobs.timeline.weather import HourlyWeather, joined

SOIL_DAYS: Final = 20  # the shell below remembers so many days
DAYS_AFTER: Final = 5


@dataclass(frozen=True)
class DayCourse:
    """Weather around one day; *typical* where the day itself lies outside the forecast that is kept."""

    weather: HourlyWeather
    issued_at: dt.datetime
    typical: bool
    sun_shift_days: int


def day_course(site: Site, default_source: str, midnight: dt.datetime) -> DayCourse | None:
    """Hours from 20 days before the midnight to 5 days after it; None where no weather was ever fetched."""
    found = site_weather(site, default_source)
    if found is None:
        return None
    begin, end = midnight - dt.timedelta(days=SOIL_DAYS), midnight + dt.timedelta(days=DAYS_AFTER)
    archive = archive_of(found.source)
    inside = found.forecast.start <= midnight and midnight + dt.timedelta(hours=24) <= found.forecast.end
    return DayCourse(_course(found, begin, end), found.issued_at, not inside, archive[1] if archive else 0)


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
