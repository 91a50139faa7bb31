"""The weather of a site made ready for the inner loops: plain arrays, wind brought down, gaps of cloud filled."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from jobs.physics.constants import WIND_SHARE_AT_SURFACE
from jobs.physics.heat import heat_index_c
from jobs.physics.psychrometrics import dew_point_c
from jobs.physics.validity import FloatArray
from jobs.timeline.kept import kept_with_weather
from jobs.timeline.weather import HourlyWeather


class SiteHours(NamedTuple):
    """One course of weather [hour]; chances that no source gives are 0, so they close nothing."""

    temp_c: FloatArray
    humidity: FloatArray
    wind_m_s: FloatArray  # at the surface
    rain_mm: FloatArray
    rain_chance: FloatArray
    thunder: FloatArray
    heat_index_c: FloatArray


@kept_with_weather
def site_hours(weather: HourlyWeather, shelter: float) -> SiteHours:
    """Arrays of a single course.

    Raises
    ------
    ValueError
        For weather with scenarios (take one with ``.scenario(number)``).
    """
    if weather.scenarios is not None:
        raise ValueError(f"weather has {weather.scenarios} scenarios; take one of them.")
    temp = np.array(weather.temp_air_c)  # copies: one memory layout, so that loops are compiled once
    known = np.isfinite(temp) & np.isfinite(weather.relative_humidity)
    index = np.full(weather.hours, np.nan)
    index[known] = heat_index_c(temp[known], weather.relative_humidity[known])
    return SiteHours(
        temp_c=temp,
        humidity=np.array(weather.relative_humidity),
        wind_m_s=np.array(weather.wind_m_s) * (WIND_SHARE_AT_SURFACE * shelter),
        rain_mm=np.array(weather.rain_mm),
        rain_chance=np.nan_to_num(weather.rain_probability),
        thunder=np.nan_to_num(weather.thunder_probability),
        heat_index_c=index,
    )


def dew_point_of(weather: HourlyWeather) -> FloatArray:
    """Dew point [C], from the relative humidity where it is missing."""
    dew = np.array(weather.dew_point_c)
    need = np.isnan(dew) & np.isfinite(weather.temp_air_c) & np.isfinite(weather.relative_humidity)
    if need.any():
        dew[need] = dew_point_c(weather.temp_air_c[need], np.maximum(weather.relative_humidity[need], 0.01))
    return dew
