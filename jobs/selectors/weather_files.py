"""A firm's own weather files: what it brought, and the past year that they can stand in for."""

from __future__ import annotations

import datetime as dt
import io
import math
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np

from jobs.models import Site, WeatherFile
from jobs.physics.validity import FloatArray
from jobs.timeline.column_weather import Ground, ground_of
from jobs.timeline.weather import HourlyWeather
from jobs.timeline.weather_quantities import QUANTITIES

YEAR_H: Final = 8760
MISSING_SHARE: Final = 0.02  # more hours missing than this: the file is kept but not used so
KM_PER_DEG: Final = 111.195
NEEDED: Final = ("temp_air_c", "dew_point_c", "wind_m_s", "rain_mm")


@dataclass(frozen=True)
class FirmYear:
    """A file that is used as the season's past of a site; `mark` changes with its content."""

    pk: uuid.UUID
    name: str
    mark: str
    km: float

    def on(self, day: dt.date) -> HourlyWeather:
        """Its whole years from half a year before *day* on, one after the other, without 29 February."""
        return _years(self.pk, self.mark, day)

    @property
    def ground(self) -> Ground:
        """Year of the ground below, from the file."""
        year = _years(self.pk, self.mark, dt.date(2001, 7, 2))
        return ground_of(year, year.start.timetuple().tm_yday)


def weather_files() -> list[WeatherFile]:
    """The firm's files without their hours, the newest first."""
    return list(WeatherFile.objects.defer("arrays").order_by("-kept_at"))


def why_not_used(file: WeatherFile) -> tuple[str, int]:
    """Why a file cannot stand in for a past year, and the figure: ("short", hours), ("gaps", hours), ("", 0)."""
    if file.count < YEAR_H:
        return "short", file.count
    if file.missing_h > MISSING_SHARE * file.count:
        return "gaps", file.missing_h
    return "", 0


def firm_year(site: Site, within_km: float, files: Sequence[WeatherFile] | None = None) -> FirmYear | None:
    """The firm's nearest whole year where it is nearer than *within_km*, else None; *files* where they are at hand."""
    best: FirmYear | None = None
    for file in weather_files() if files is None else files:
        km = _apart_km(file, site)
        if why_not_used(file)[0] == "" and km <= min(within_km, best.km if best else math.inf):
            best = FirmYear(file.pk, file.name, file.fingerprint, km)
    return best


def file_hours(file: WeatherFile) -> HourlyWeather:
    """The hours as they were brought, gaps and all."""
    with np.load(io.BytesIO(bytes(file.arrays)), allow_pickle=False) as archive:
        return HourlyWeather(file.starts, *(archive[name].astype(np.float64) for name in QUANTITIES))


def missing_hours(weather: HourlyWeather) -> int:
    """Hours without air temperature, dew point, wind or rain."""
    known = np.isfinite(np.stack([getattr(weather, name) for name in NEEDED]))
    return int((~known.all(axis=0)).sum())


def _apart_km(file: WeatherFile, site: Site) -> float:
    north = (file.latitude - site.latitude) * KM_PER_DEG
    east = (file.longitude - site.longitude) * KM_PER_DEG * math.cos(math.radians(site.latitude))
    return math.hypot(north, east)


@lru_cache(maxsize=16)
def _years(pk: uuid.UUID, mark: str, day: dt.date) -> HourlyWeather:
    del mark  # only tells one content from another
    weather = file_hours(WeatherFile.objects.get(pk=pk))
    stamps = np.datetime64(weather.start.replace(tzinfo=None), "h") + np.arange(weather.hours)
    ordinary = ~np.isin(stamps.astype("datetime64[D]"), _leap_days(stamps))
    place = np.flatnonzero(ordinary)
    place = place[: place.size // YEAR_H * YEAR_H]
    begin = dt.datetime.combine(day - dt.timedelta(days=182), dt.time(), dt.UTC)
    same = begin.replace(day=28 if (begin.month, begin.day) == (2, 29) else begin.day)
    first = stamps[place]
    alike = np.flatnonzero(
        (_month_day(first) == same.month * 100 + same.day) & (first.astype("datetime64[h]").astype(int) % 24 == 0)
    )
    rolled = np.roll(place, -int(alike[0]))
    fields: dict[str, Any] = {}
    for name in QUANTITIES:
        values = np.asarray(getattr(weather, name), np.float64)
        fields[name] = (bridged(values, dry=name == "rain_mm") if name in NEEDED else values)[rolled]
    fields["dew_point_c"] = np.minimum(fields["dew_point_c"], fields["temp_air_c"])
    return HourlyWeather(begin, **fields)


def bridged(values: FloatArray, *, dry: bool = False) -> FloatArray:
    """Values [hour] with gaps bridged in a straight line; *dry*: gaps count as 0."""
    known = np.isfinite(values)
    if known.all() or not known.any():
        return values
    if dry:
        return np.where(known, values, 0.0)
    hours = np.arange(values.size)
    return np.interp(hours, hours[known], values[known])


def _leap_days(stamps: np.ndarray[Any, np.dtype[np.datetime64]]) -> np.ndarray[Any, np.dtype[np.datetime64]]:
    years = np.unique(stamps.astype("datetime64[Y]").astype(int) + 1970)
    leap = [year for year in years if year % 4 == 0 and (year % 100 or year % 400 == 0)]
    return np.array([f"{year}-02-29" for year in leap], dtype="datetime64[D]")


def _month_day(stamps: np.ndarray[Any, np.dtype[np.datetime64]]) -> np.ndarray[Any, np.dtype[np.int64]]:
    months = stamps.astype("datetime64[M]")
    day = (stamps.astype("datetime64[D]") - months.astype("datetime64[D]")).astype(int) + 1
    return np.asarray((months.astype(int) % 12 + 1) * 100 + day)
