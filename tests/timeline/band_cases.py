"""Weather, crews and jobs that the tests of scenarios, slipping and bands share."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from jobs.timeline.crew_room import CrewRoom
from jobs.timeline.scenarios import ScenarioSite
from jobs.timeline.weather import HourlyWeather
from jobs.timeline.weather_files import typical_year

ZONE = "America/New_York"
SITE = ScenarioSite(ZONE)
MONDAY = date(2024, 5, 13)


def midnight(day: date = MONDAY, zone_offset_h: int = 4) -> datetime:
    """Local midnight in UTC; four hours in summer."""
    return datetime(day.year, day.month, day.day, zone_offset_h, tzinfo=UTC)


def weather_of(
    hours: int,
    *,
    start: datetime | None = None,
    temp: ArrayLike = 18.0,
    dew: ArrayLike = 8.0,
    rain: ArrayLike = 0.0,
    wind: ArrayLike = 2.0,
) -> HourlyWeather:
    """Plain weather: mild, dry and still unless said otherwise."""
    temps = np.asarray(temp, dtype=float)
    shape = np.broadcast_shapes((hours,), temps.shape, np.shape(rain))
    full = {name: np.broadcast_to(value, shape) for name, value in {"t": temps, "d": dew, "r": rain, "w": wind}.items()}
    return HourlyWeather.of(
        start or midnight(), temp_air_c=full["t"], dew_point_c=full["d"], wind_m_s=full["w"], rain_mm=full["r"]
    )


def room_of(
    horizon: int = 20,
    *,
    first: date = MONDAY,
    zone: str = ZONE,
    plaster_off: tuple[int, ...] = (),
    prep_off: tuple[int, ...] = (),
    water: np.ndarray | None = None,
) -> CrewRoom:
    """Crews with room from 8 to 16 on every day but those named."""
    prep = np.zeros((horizon + 1, 24), dtype=bool)
    prep[:, 8:16] = True
    prep[list(prep_off)] = False
    plaster = np.ones(horizon + 1, dtype=bool)
    plaster[list(plaster_off)] = False
    return CrewRoom(zone, first, horizon, prep, plaster, water)


def rain_on(hours: int, *days: int, mm: float = 2.0) -> np.ndarray:
    """Rain all day on some days."""
    rain = np.zeros(hours)
    for day in days:
        rain[24 * day : 24 * day + 24] = mm
    return rain


@cache
def year() -> HourlyWeather:
    """A real typical year, Greensboro NC."""
    return typical_year("greensboro_nc").weather


def real(begin: datetime, days: int) -> HourlyWeather:
    """That year laid on real dates."""
    return typical_year("greensboro_nc").on(begin, begin + timedelta(days=days))
