"""Weather of a site in quarter hours, as the column of shell and soil meets it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np

from jobs.physics import sun
from jobs.physics.constants import (
    CLOUD_SHADE,
    EMISSIVITY,
    KELVIN,
    SOIL_J_M3_K,
    SOIL_W_M_K,
    STEFAN_BOLTZMANN_W_M2_K4,
    WIND_SHARE_AT_SURFACE,
)
from jobs.physics.sky import clear_sky_irradiance_w_m2, sky_emissivity
from jobs.physics.surface_balance import convection_w_m2_k, drying_terms
from jobs.physics.surface_temperature import ground_temperature_c
from jobs.physics.validity import FloatArray, in_range
from jobs.timeline.kept import kept_with_weather
from jobs.timeline.site_hours import dew_point_of
from jobs.timeline.weather import HourlyWeather
from jobs.timeline.weather_quantities import HOUR

STEPS_AN_HOUR: Final = 4
STEP_S: Final = 3600 // STEPS_AN_HOUR


@dataclass(frozen=True)
class Ground:
    """Year of the ground surface: mean, amplitude [C] and coldest day, from a station's monthly means."""

    mean_c: float
    amplitude_c: float
    coldest_day: float

    def __post_init__(self) -> None:
        in_range("mean temperature of the year", self.mean_c, -20, 40, "C")
        in_range("amplitude of the year", self.amplitude_c, 0, 40, "C")
        in_range("coldest day of the year", self.coldest_day, -366, 732, "")

    def at_c(self, depth_m: float, day_of_year: float) -> float:
        """Temperature at a depth [KUSUDA65]."""
        diffusivity = SOIL_W_M_K / SOIL_J_M3_K
        return float(
            ground_temperature_c(self.mean_c, self.amplitude_c, self.coldest_day, diffusivity, depth_m, day_of_year)
        )


class StepWeather(NamedTuple):
    """Weather at the end of each quarter hour [step], as far as it does not depend on the surface.

    air [C], sun [W/m2], long-wave from above times emissivity [W/m2], convection [W/m2/K], factor and air term of
    drying, rain [mm in the step].
    """

    air_c: FloatArray
    sun_w_m2: FloatArray
    long_wave_w_m2: FloatArray
    convection_w_m2_k: FloatArray
    drying_factor: FloatArray
    drying_air: FloatArray
    rain_mm: FloatArray


def ground_of(year: HourlyWeather, first_day_of_year: int = 1) -> Ground:
    """Mean, amplitude and coldest day of a year of hours by its first harmonic.

    Raises
    ------
    ValueError
        If the weather is not one course of 8760 hours or more.
    """
    if year.scenarios is not None or year.hours < 8760:
        raise ValueError(f"a year of 8760 h is needed; there are {year.hours} h.")
    temp = year.temp_air_c[:8760]
    days = (np.arange(8760) + 0.5) / 24
    wave = np.exp(-2j * np.pi * days / 365)
    first = 2 * np.nanmean((temp - np.nanmean(temp)) * wave)
    coldest = (np.pi - np.angle(first)) / (2 * np.pi) * 365 % 365
    return Ground(float(np.nanmean(temp)), float(abs(first)), float(coldest + first_day_of_year))


@kept_with_weather
def step_weather(
    weather: HourlyWeather,
    latitude_deg: float,
    longitude_deg: float,
    shelter: float,
    sky_view: float,
    uno: bool,
    sun_shift_days: int,
) -> StepWeather:
    """One course in quarter hours; cloud and sun that no source gives are estimated.

    Values between the hours are linear; sun and rain of an hour are the same in each of its quarters. Missing
    cloud is guessed from rain and humidity [CP], missing sun computed from cloud and the sun's height.

    Raises
    ------
    ValueError
        For weather with scenarios.
    """
    if weather.scenarios is not None:
        raise ValueError(f"weather has {weather.scenarios} scenarios; take one of them.")
    ends = (np.arange(weather.hours * STEPS_AN_HOUR) + 1) / STEPS_AN_HOUR
    air = weather.series("temp_air_c", ends)
    stamps = np.arange(1, weather.hours + 1)
    dew = np.clip(np.interp(ends, stamps, dew_point_of(weather)), -60, 40)
    wind = weather.series("wind_m_s", ends) * WIND_SHARE_AT_SURFACE * shelter
    cloud_h = cloud_cover_of(weather)
    cloud = np.interp(ends, stamps, cloud_h)
    known = np.isfinite(air + dew + wind)
    air, dew = np.where(known, air, np.nan), np.where(known, dew, 0.0)
    warm = np.where(known, air, 0.0)
    grey = STEFAN_BOLTZMANN_W_M2_K4 * (warm + KELVIN) ** 4
    sky = np.asarray(sky_emissivity(dew, 10 * cloud))
    factor, air_term = drying_terms(warm, dew, np.where(known, wind, 0.0), uno)
    sun_h = irradiance_of(weather, cloud_h, latitude_deg, longitude_deg, sun_shift_days)
    return StepWeather(
        air_c=air,
        sun_w_m2=np.repeat(sun_h, STEPS_AN_HOUR),
        long_wave_w_m2=EMISSIVITY * grey * (sky_view * sky + 1 - sky_view),
        convection_w_m2_k=np.asarray(convection_w_m2_k(np.where(known, wind, 0.0))),
        drying_factor=factor,
        drying_air=air_term,
        rain_mm=np.repeat(np.nan_to_num(weather.rain_mm), STEPS_AN_HOUR) / STEPS_AN_HOUR,
    )


def cloud_cover_of(weather: HourlyWeather) -> FloatArray:
    """Cloud cover [hour]; where it is missing a guess: overcast in rain, else from the humidity [CP]."""
    cloud = np.array(weather.cloud_cover)
    missing = np.isnan(cloud)
    if missing.any():
        humid = np.clip((np.nan_to_num(weather.relative_humidity, nan=0.6) - 0.4) / 0.55, 0, 1)
        guess = np.where(np.nan_to_num(weather.rain_mm) > 0, 1.0, humid)
        cloud[missing] = guess[missing]
    return cloud


def irradiance_of(
    weather: HourlyWeather, cloud: FloatArray, latitude_deg: float, longitude_deg: float, shift_days: int
) -> FloatArray:
    """Global irradiance [hour]; where it is missing from the sun's height at mid-hour and the cloud."""
    ghi = np.array(weather.ghi_w_m2)
    missing = np.isnan(ghi)
    if missing.any():
        clear = _clear_sky(weather.start, weather.hours, latitude_deg, longitude_deg, shift_days)
        shaded = clear * (1 - CLOUD_SHADE[0] * cloud ** CLOUD_SHADE[1])
        ghi[missing] = shaded[missing]
    return ghi


@lru_cache(maxsize=64)
def _clear_sky(start: datetime, hours: int, latitude_deg: float, longitude_deg: float, shift_days: int) -> FloatArray:
    first = np.datetime64((start + timedelta(days=shift_days) + HOUR / 2).replace(tzinfo=None), "ms")
    times = first + np.arange(hours) * np.timedelta64(3_600_000, "ms")
    zenith = np.asarray(sun.zenith_deg(latitude_deg, longitude_deg, times))
    clear: FloatArray = np.asarray(clear_sky_irradiance_w_m2(np.clip(zenith, 0, 180)))
    return clear
