"""Water-loss test: the measured drop less evaporation and other use, with a standard error."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from jobs.physics.constants import PENMAN_MM_D_KPA, PENMAN_S_M
from jobs.physics.psychrometrics import saturation_vapour_pressure_kpa
from jobs.physics.validity import FloatArray, in_range, plain, same_shape

RULER_ERROR_MM: Final = 1.0
"""Standard error of one level reading [CP]."""
EVAPORATION_ERROR_SHARE: Final = 0.20
"""Standard error of computed evaporation as a share of it [CP]."""
RAIN_ERROR_SHARE: Final = 0.10
"""Standard error of measured rain as a share of it [CP]."""
NORMAL_95: Final = 1.96
"""Half-width of the 95 % interval of a normal quantity, in standard errors."""
MIN_DAYS: Final = 1.0
"""A test shorter than 24 h says little [CP]."""


@dataclass(frozen=True)
class WaterLoss:
    """Loss through the surface, the fittings and the pipes together.

    loss_mm_d, standard_error_mm_d, low_mm_d, high_mm_d : [mm/day], the last two a 95 % interval
    loss_l_d : the same over the water surface [L/day]
    beyond_evaporation : True only when the whole interval lies above 0
    """

    loss_mm_d: float
    standard_error_mm_d: float
    low_mm_d: float
    high_mm_d: float
    loss_l_d: float
    evaporation_mm: float
    by_bucket: bool
    beyond_evaporation: bool
    words: str


def open_water_evaporation_mm_d(
    temp_air_c: ArrayLike,
    relative_humidity: ArrayLike,
    wind_2m_m_s: ArrayLike,
    water_c: ArrayLike | None = None,
) -> float | FloatArray:
    """Evaporation of open water by mass transfer [mm/day], below 0 for condensation.

    E = 2.6 (1 + 0.54 u2) (e_s - e_a), e in kPa: Penman's wind function [PENMAN]. The caller takes the mean over
    the hours of the test.

    Parameters
    ----------
    temp_air_c : air temperature [C], -40 to 60, any shape
    relative_humidity : [fraction], 0 to 1, same shape
    wind_2m_m_s : wind at 2 m [m/s], 0 to 40, same shape
    water_c : water surface temperature [C], 0 to 45; None takes the air's, as Penman did

    Raises
    ------
    ValueError
        For a value outside its range or arrays that differ in shape.
    """
    surface = temp_air_c if water_c is None else in_range("water temperature", water_c, 0, 45, "C")
    same_shape(temp_air_c=temp_air_c, relative_humidity=relative_humidity, wind_2m_m_s=wind_2m_m_s, water_c=surface)
    air = in_range("air temperature", temp_air_c, -40, 60, "C")
    humidity = in_range("relative humidity", relative_humidity, 0, 1, "")
    wind = in_range("wind at 2 m", wind_2m_m_s, 0, 40, "m/s")
    deficit = np.asarray(saturation_vapour_pressure_kpa(surface)) - humidity * np.asarray(
        saturation_vapour_pressure_kpa(air)
    )
    return plain(np.asarray(PENMAN_MM_D_KPA * (1 + PENMAN_S_M * wind) * deficit))


def water_loss(
    *,
    drop_mm: float,
    days: float,
    water_surface_m2: float,
    evaporation_mm: float | None = None,
    bucket_drop_mm: float | None = None,
    rain_mm: float = 0.0,
    other_use_mm: float = 0.0,
) -> WaterLoss:
    """Loss beyond evaporation of one test.

    loss = drop - evaporation + rain - other use, per day. With a bucket on a step its own drop is evaporation
    less rain, so loss = drop - bucket drop - other use.

    Parameters
    ----------
    drop_mm : fall of the pool level between two readings [mm], -200 to 1000
    days : time between the readings [d], 1 to 30
    water_surface_m2 : area of the water surface [m2], above 0, to 5000
    evaporation_mm : computed evaporation over the test [mm], -20 to 600; or
    bucket_drop_mm : fall of the level in the bucket [mm], -200 to 600 (exactly one of the two)
    rain_mm : rain over the test [mm], 0 to 500; not used with a bucket, which catches the same rain
    other_use_mm : backwashing, splash and known use, less water added [mm], -1000 to 1000

    Raises
    ------
    ValueError
        For a value outside its range, or both or neither of evaporation and bucket.
    """
    if (evaporation_mm is None) == (bucket_drop_mm is None):
        raise ValueError("water loss needs either the evaporation or the fall in the bucket, not both.")
    drop = _number("fall of the pool level", drop_mm, -200, 1000, "mm")
    length = _number("time between the readings", days, MIN_DAYS, 30, "days")
    area = _number("area of the water surface", water_surface_m2, 1, 5000, "m2")
    rain = _number("rain", rain_mm, 0, 500, "mm")
    use = _number("other use", other_use_mm, -1000, 1000, "mm")
    reading = sqrt(2) * RULER_ERROR_MM
    if bucket_drop_mm is not None:
        bucket = _number("fall of the level in the bucket", bucket_drop_mm, -200, 600, "mm")
        evaporation, loss, error = bucket + rain, drop - bucket - use, sqrt(2) * reading
    else:
        evaporation = _number("evaporation", evaporation_mm or 0.0, -20, 600, "mm")
        loss = drop - evaporation + rain - use
        shares = (EVAPORATION_ERROR_SHARE * evaporation, RAIN_ERROR_SHARE * rain)
        error = sqrt(reading**2 + sum(share**2 for share in shares))
    return _result(loss / length, error / length, area, evaporation, bucket_drop_mm is not None)


def _number(quantity: str, value: float, low: float, high: float, unit: str) -> float:
    return float(in_range(quantity, value, low, high, unit))


def _result(loss: float, error: float, area_m2: float, evaporation_mm: float, by_bucket: bool) -> WaterLoss:
    low, high = loss - NORMAL_95 * error, loss + NORMAL_95 * error
    return WaterLoss(
        loss_mm_d=loss,
        standard_error_mm_d=error,
        low_mm_d=low,
        high_mm_d=high,
        loss_l_d=loss * area_m2,
        evaporation_mm=evaporation_mm,
        by_bucket=by_bucket,
        beyond_evaporation=low > 0,
        words=_words(loss, low, high, loss * area_m2),
    )


def _words(loss: float, low: float, high: float, litres: float) -> str:
    figures = f"{loss:.1f} mm a day ({low:.1f} to {high:.1f}), {litres:.0f} L a day"
    normal = "No interior surface is waterproof: a small loss is normal."
    if low > 0:
        return f"More than evaporation explains: {figures}. {normal}"
    if high < 0:
        return f"Less than evaporation explains: {figures}. Look for water that was added, or rain."
    return f"Not more than evaporation explains: {figures}. {normal}"
