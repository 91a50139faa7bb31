"""Stored hours of weather as arrays, and what a typical year says of a place."""

from __future__ import annotations

import datetime as dt
import io
import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np

from jobs.models import Site, WeatherCell, WeatherHours
from jobs.timeline.column_weather import Ground, ground_of
from jobs.timeline.weather import HourlyWeather
from jobs.timeline.weather_files import TypicalYear, bundled_names, typical_year
from jobs.timeline.weather_quantities import QUANTITIES

KM_PER_DEG: Final = 111.195


@dataclass(frozen=True, eq=False)
class SiteWeather:
    """The latest forecast of a site's cell, and the typical year that stands in beyond it."""

    forecast: HourlyWeather
    issued_at: dt.datetime
    fingerprint: str
    source: str
    climatology: HourlyWeather
    station_km: float
    ground: Ground

    def age_h(self, now: dt.datetime) -> float:
        """Hours since the forecast was issued."""
        return (now - self.issued_at) / dt.timedelta(hours=1)


def pack(weather: HourlyWeather) -> bytes:
    """The arrays of a course of weather as one compressed numpy archive (float32)."""
    buffer = io.BytesIO()
    arrays: dict[str, Any] = {name: np.asarray(getattr(weather, name), np.float32) for name in QUANTITIES}
    np.savez_compressed(buffer, **arrays)
    return buffer.getvalue()


def unpack(row: WeatherHours) -> HourlyWeather:
    with np.load(io.BytesIO(bytes(row.arrays)), allow_pickle=False) as archive:
        return HourlyWeather(row.starts, *(archive[name].astype(np.float64) for name in QUANTITIES))


def cell_key(site: Site, default_source: str) -> tuple[str, str, str]:
    """(source, latitude, longitude) of the cell a site lies in."""
    source = f"archive:{site.archive}" if site.archive else default_source
    return source, _rounded(site.latitude), _rounded(site.longitude)


def _rounded(degrees: float) -> str:
    return f"{round(degrees * 20) / 20:.2f}"


def archive_of(source: str) -> tuple[str, int] | None:
    """File and shift in days of an archive source ("archive:greensboro_nc:140"), None for others."""
    kind, _, rest = source.partition(":")
    if kind != "archive":
        return None
    name, _, shift = rest.partition(":")
    return name, int(shift or 0)


def forecast_latest(cell: WeatherCell) -> WeatherHours | None:
    return cell.hours.filter(kind="forecast").order_by("-issued_at").first()


def site_weather(site: Site, default_source: str) -> SiteWeather | None:
    """The newest stored forecast with its climatology; None where nothing was ever fetched."""
    source, latitude, longitude = cell_key(site, default_source)
    cell = WeatherCell.objects.filter(source=source, latitude=latitude, longitude=longitude).first()
    row = None if cell is None else forecast_latest(cell)
    if cell is None or row is None:
        return None
    station, shift, km = climate_of(site, source)
    begin = row.starts.replace(minute=0, second=0, microsecond=0)
    return SiteWeather(
        forecast=unpack(row),
        issued_at=row.issued_at,
        fingerprint=row.fingerprint,
        source=source,
        climatology=_year(station, begin.date(), shift),
        station_km=km,
        ground=_ground(station, begin.date(), shift),
    )


def climate_of(site: Site, source: str) -> tuple[str, int, float]:
    """Bundled station, shift in days and distance in km of the climate used for a site."""
    archive = archive_of(source)
    name = archive[0] if archive else nearest_station(site.latitude, site.longitude)
    return name, archive[1] if archive else 0, _distance_km(typical_year(name), site.latitude, site.longitude)


@lru_cache(maxsize=64)
def _year(name: str, day: dt.date, shift: int) -> HourlyWeather:
    """365 days of the typical year around the given day, so that all seasons are there."""
    middle = dt.datetime.combine(day, dt.time(), tzinfo=dt.UTC)
    return typical_year(name).on(middle - dt.timedelta(days=182), middle + dt.timedelta(days=183), shift_days=shift)


@lru_cache(maxsize=64)
def _ground(name: str, day: dt.date, shift: int) -> Ground:
    year = _year(name, day, shift)
    return ground_of(year, year.start.timetuple().tm_yday)


def nearest_station(latitude: float, longitude: float) -> str:
    return min(bundled_names(), key=lambda name: _distance_km(typical_year(name), latitude, longitude))


def _distance_km(year: TypicalYear, latitude: float, longitude: float) -> float:
    north = (year.station.latitude_deg - latitude) * KM_PER_DEG
    east = (year.station.longitude_deg - longitude) * KM_PER_DEG * math.cos(math.radians(latitude))
    return math.hypot(north, east)
