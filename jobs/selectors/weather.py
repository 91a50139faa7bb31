"""Stored hours of weather as arrays, and what a typical year says of a place."""

from __future__ import annotations

import datetime as dt
import io
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Final

import numpy as np
from django.conf import settings
from django.utils.module_loading import import_string

from jobs.models import Site, WeatherCell, WeatherHours
from jobs.selectors.weather_files import firm_year
from jobs.timeline.column_weather import Ground, ground_of
from jobs.timeline.errors_json import errors_from_json
from jobs.timeline.forecast_errors import ForecastErrors
from jobs.timeline.scenarios import DEFAULT_ERRORS
from jobs.timeline.weather import HourlyWeather
from jobs.timeline.weather_files import TypicalYear, bundled_names, typical_year
from jobs.timeline.weather_quantities import QUANTITIES

KM_PER_DEG: Final = 111.195
ARCHIVE: Final = "archive"
NWS: Final = "nws"
OPEN_METEO: Final = "open-meteo"
ENSEMBLE: Final = "open-meteo-ensemble"
ONLINE: Final = (NWS, OPEN_METEO, ENSEMBLE)
POP_PERIOD_H: Final = {OPEN_METEO: 1}  # of the stated rain probability; 6 h elsewhere
LEARNED_WITHIN_KM: Final = 100.0  # errors learned at the nearest place of the same source serve a new one


@dataclass(frozen=True, eq=False)
class SiteWeather:
    """The latest forecast of a site's cell, and the typical year that stands in beyond it."""

    forecast: HourlyWeather
    issued_at: dt.datetime
    fingerprint: str
    source: str
    climatology: HourlyWeather
    station: str
    station_km: float
    ground: Ground
    members: HourlyWeather | None = None
    errors: ForecastErrors = DEFAULT_ERRORS

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


def cell_key(site: Site, source: str) -> tuple[str, str, str]:
    """(source, latitude, longitude) of the cell a site lies in; on bundled weather with the site's own file."""
    if source == ARCHIVE:
        source = f"{ARCHIVE}:{site.archive or nearest_station(site.latitude, site.longitude)}"
    return source, _rounded(site.latitude), _rounded(site.longitude)


def _rounded(degrees: float) -> str:
    return f"{round(degrees * 20) / 20:.2f}"


def archive_of(source: str) -> tuple[str, int] | None:
    """File and shift in days of an archive source ("archive:greensboro_nc:140"), None for others."""
    kind, _, rest = source.partition(":")
    if kind != ARCHIVE:
        return None
    name, _, shift = rest.partition(":")
    return name, int(shift or 0)


def forecast_latest(cell: WeatherCell) -> WeatherHours | None:
    return cell.hours.filter(kind="forecast").order_by("-issued_at").first()


def members_of(cell: WeatherCell, forecast: WeatherHours) -> WeatherHours | None:
    """The members of the ensemble that a forecast is the middle of."""
    return cell.hours.filter(kind="members", issued_at=forecast.issued_at).first()


def site_weather(site: Site, source: str) -> SiteWeather | None:
    """The newest stored forecast with its climatology; None where nothing was ever fetched."""
    source, latitude, longitude = cell_key(site, source)
    cell = WeatherCell.objects.filter(source=source, latitude=latitude, longitude=longitude).first()
    row = None if cell is None else forecast_latest(cell)
    if cell is None or row is None:
        return None
    members = members_of(cell, row) if source == ENSEMBLE else None
    station, shift, km = climate_of(site, source)
    begin = row.starts.replace(minute=0, second=0, microsecond=0)
    own = firm_year(site, km) if archive_of(source) is None else None
    year = _year(station, begin.date(), shift) if own is None else own.on(begin.date())
    errors = errors_of(cell)
    return SiteWeather(
        forecast=unpack(row),
        issued_at=row.issued_at,
        fingerprint=f"{row.fingerprint}:{cell.errors_at}:{own.mark if own else station}",
        source=source,
        climatology=year,
        station=own.name if own else station,
        station_km=own.km if own else km,
        ground=_ground(station, begin.date(), shift) if own is None else own.ground,
        members=None if members is None else unpack(members),
        errors=errors,
    )


def errors_before(source: str) -> ForecastErrors:
    """What is believed of a source before anything was learned."""
    return replace(DEFAULT_ERRORS, pop_period_h=POP_PERIOD_H.get(source, DEFAULT_ERRORS.pop_period_h))


def errors_of(cell: WeatherCell, learned: Iterable[WeatherCell] | None = None) -> ForecastErrors:
    """How wrong a cell's forecasts are: learned here, else near here, else what is believed of the source.

    *learned*: cells that have learned, where they are at hand.
    """
    if cell.errors:
        return errors_from_json(cell.errors)
    archive = archive_of(cell.source)
    if archive is not None:
        known: Callable[[str], ForecastErrors] = import_string(settings.ARCHIVE_ERRORS)
        return known(archive[0])
    others = WeatherCell.objects.filter(source=cell.source).exclude(errors=None) if learned is None else learned
    near = min(
        (other for other in others if other.source == cell.source),
        key=lambda other: _apart_km(other, cell),
        default=None,
    )
    if near is None or near.errors is None or _apart_km(near, cell) > LEARNED_WITHIN_KM:
        return errors_before(cell.source)
    return errors_from_json(near.errors)


def cell_climate(cell: WeatherCell, day: dt.date) -> HourlyWeather:
    """A bundled year around a day for a cell."""
    archive = archive_of(cell.source)
    name, shift = archive or (nearest_station(float(cell.latitude), float(cell.longitude)), 0)
    return _year(name, day, shift)


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


def _apart_km(one: WeatherCell, other: WeatherCell) -> float:
    return distance_km(float(one.latitude), float(one.longitude), float(other.latitude), float(other.longitude))


@lru_cache(maxsize=1024)
def nearest_station(latitude: float, longitude: float) -> str:
    return min(bundled_names(), key=lambda name: _distance_km(typical_year(name), latitude, longitude))


def _distance_km(year: TypicalYear, latitude: float, longitude: float) -> float:
    return distance_km(year.station.latitude_deg, year.station.longitude_deg, latitude, longitude)


def distance_km(latitude: float, longitude: float, to_latitude: float, to_longitude: float) -> float:
    """Distance of two places on a plane through them, near enough for choosing a station [km]."""
    north = (to_latitude - latitude) * KM_PER_DEG
    east = (to_longitude - longitude) * KM_PER_DEG * math.cos(math.radians(latitude))
    return math.hypot(north, east)
