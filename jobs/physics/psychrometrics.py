"""Moist air and the wind near the ground."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from jobs.physics.constants import (
    VAPOUR_KPA,
    VAPOUR_OFFSET_C,
    VAPOUR_SLOPE,
    WIND_LOG_OFFSET,
    WIND_LOG_SLOPE_1_M,
    WIND_POWER,
    WIND_TO_2_M,
)
from jobs.physics.validity import FloatArray, in_range, plain, same_shape


def saturation_vapour_pressure_kpa(temp_c: ArrayLike) -> float | FloatArray:
    """Saturation vapour pressure over water.

    ``e_s = 0.6108 exp(17.27 T / (T + 237.3))`` [FAO56 eq. 11]; within 0.15 % of ASHRAE from 5 to 40 degC.

    Parameters
    ----------
    temp_c : [degC], -50 to 80, scalar or array; below 0 degC over supercooled water

    Returns
    -------
    [kPa], shape of *temp_c*

    Raises
    ------
    ValueError
        Outside the range.
    """
    temp = in_range("temperature", temp_c, -50, 80, "degC", "FAO-56 eq. 11")
    return plain(VAPOUR_KPA * np.exp(VAPOUR_SLOPE * temp / (temp + VAPOUR_OFFSET_C)))


def dew_point_c(temp_air_c: ArrayLike, relative_humidity: ArrayLike) -> float | FloatArray:
    """Dew point of the air, by inversion of the saturation vapour pressure [FAO56 eq. 11].

    Parameters
    ----------
    temp_air_c : [degC], -50 to 60
    relative_humidity : fraction, above 0 to 1; scalars or arrays of one shape

    Returns
    -------
    [degC], common shape

    Raises
    ------
    ValueError
        Outside the ranges, or arrays of unequal shape.
    """
    same_shape(temp_air_c=temp_air_c, relative_humidity=relative_humidity)
    temp = in_range("air temperature", temp_air_c, -50, 60, "degC", "FAO-56 eq. 11")
    humidity = in_range("relative humidity", relative_humidity, 0, 1, "as a fraction", low_open=True)
    logarithm = np.log(humidity) + VAPOUR_SLOPE * temp / (temp + VAPOUR_OFFSET_C)
    return plain(VAPOUR_OFFSET_C * logarithm / (VAPOUR_SLOPE - logarithm))


def relative_humidity(temp_air_c: ArrayLike, dew_point_c: ArrayLike) -> float | FloatArray:
    """Relative humidity of air with a known dew point, as a fraction, at most 1 [FAO56 eq. 11].

    Parameters
    ----------
    temp_air_c : [degC], -50 to 60
    dew_point_c : [degC], -100 to 60; a dew point above the air temperature reads as saturated air

    Raises
    ------
    ValueError
        Outside the ranges, or arrays of unequal shape.
    """
    same_shape(temp_air_c=temp_air_c, dew_point_c=dew_point_c)
    air = in_range("air temperature", temp_air_c, -50, 60, "degC", "FAO-56 eq. 11")
    dew = in_range("dew point", dew_point_c, -100, 60, "degC", "FAO-56 eq. 11")
    exponent = VAPOUR_SLOPE * (dew / (dew + VAPOUR_OFFSET_C) - air / (air + VAPOUR_OFFSET_C))
    return plain(np.minimum(1.0, np.exp(exponent)))


def wind_at_height_m_s(wind_m_s: ArrayLike, from_m: float, to_m: float, roughness_m: float) -> float | FloatArray:
    """Mean wind at another height over open ground, neutral logarithmic profile [WIND].

    ``u(to) = u(from) ln(to / z0) / ln(from / z0)``: 0.48 of the 10 m wind at 0.5 m over short grass (z0
    0.03 m), 0.35 in suburbs (0.1 m). No source was found for the wind inside an empty basin.

    Parameters
    ----------
    wind_m_s : [m/s], 0 to 75, scalar or array
    from_m, to_m : [m], above the roughness length, at most 200
    roughness_m : [m], 0.0001 to 2

    Raises
    ------
    ValueError
        Outside the ranges.
    """
    wind = in_range("wind speed", wind_m_s, 0, 75, "m/s")
    roughness = float(in_range("roughness length", roughness_m, 0.0001, 2, "m"))
    source = float(in_range("height of the wind gauge", from_m, roughness, 200, "m", low_open=True))
    target = float(in_range("height above ground", to_m, roughness, 200, "m", low_open=True))
    return plain(wind * (np.log(target / roughness) / np.log(source / roughness)))


def wind_at_2_m_m_s(wind_m_s: ArrayLike, from_m: float) -> float | FloatArray:
    """Mean wind brought to 2 m over short grass: ``uz 4.87 / ln(67.8 z - 5.42)`` [FAO56 eq. 47].

    Parameters
    ----------
    wind_m_s : [m/s], 0 to 75, scalar or array
    from_m : [m], 0.5 to 200

    Raises
    ------
    ValueError
        Outside the ranges.
    """
    wind = in_range("wind speed", wind_m_s, 0, 75, "m/s")
    height = float(in_range("height of the wind gauge", from_m, 0.5, 200, "m", "FAO-56 eq. 47"))
    return plain(wind * (WIND_TO_2_M / np.log(WIND_LOG_SLOPE_1_M * height - WIND_LOG_OFFSET)))


def wind_by_power_law_m_s(
    wind_m_s: ArrayLike, from_m: float, to_m: float, exponent: float = WIND_POWER
) -> float | FloatArray:
    """Mean wind at another height by the power law, a comparison with the logarithmic profile [WIND].

    Parameters
    ----------
    wind_m_s : [m/s], 0 to 75, scalar or array
    from_m, to_m : [m], 0.1 to 200
    exponent : 0.05 to 0.6

    Raises
    ------
    ValueError
        Outside the ranges.
    """
    wind = in_range("wind speed", wind_m_s, 0, 75, "m/s")
    source = float(in_range("height of the wind gauge", from_m, 0.1, 200, "m"))
    target = float(in_range("height above ground", to_m, 0.1, 200, "m"))
    power = float(in_range("exponent of the power law", exponent, 0.05, 0.6, ""))
    return plain(wind * (target / source) ** power)
