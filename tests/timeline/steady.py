"""Made-up weather and jobs whose answers are known beforehand."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np

from jobs.timeline.limits import Limits
from jobs.timeline.plaster_job import PlasterJob
from jobs.timeline.weather import HourlyWeather

DAY = date(2026, 5, 12)
ZONE = "America/New_York"
MIDNIGHT = datetime(2026, 5, 12, 4, tzinfo=UTC)  # of DAY in ZONE


def steady(
    temp_c: float = 20.0,
    humidity: float = 0.6,
    wind_m_s: float = 2.0,
    *,
    begins: datetime = MIDNIGHT - timedelta(days=5),
    days: int = 12,
    **others: float,
) -> HourlyWeather:
    """The same hour over and over: overcast and dark unless told otherwise, no rain, no chance of any."""
    hours = 24 * days
    given = {"rain_mm": 0.0, "rain_probability": 0.0, "ghi_w_m2": 0.0, "cloud_cover": 1.0, "pressure_kpa": 101.0}
    given |= {"thunder_probability": 0.0} | others
    return HourlyWeather.of(
        begins,
        temp_air_c=np.full(hours, temp_c),
        relative_humidity=np.full(hours, humidity),
        wind_m_s=np.full(hours, wind_m_s),
        **{name: np.full(hours, value) for name, value in given.items()},
    )


def changed(weather: HourlyWeather, field: str, clock_h: float, value: float, hours: int = 1) -> HourlyWeather:
    """One field changed in the hours that begin *clock_h* after DAY's midnight."""
    array = np.array(getattr(weather, field))
    first = round(weather.position(MIDNIGHT) + clock_h)
    array[..., first : first + hours] = value
    return weather.with_fields(**{field: array})


def pool(**changes: object) -> PlasterJob:
    """93 m2 at 40 m2/h with four finishers, a generous crew for 20 C."""
    plain = PlasterJob(93.0, 40.0, 45.0, 4, 36.1, -79.95, ZONE)
    return replace(plain, **changes)  # type: ignore[arg-type]  # keywords of mixed kinds


def limited(**changes: float) -> Limits:
    """Default limits with some tightened."""
    return Limits().tightened(**changes)
