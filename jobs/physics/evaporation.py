"""Water leaving a fresh cement surface.

The Menzel equation is the default. The Uno form is a comparison: 10-25 % high with cold air over warm
plaster, and far too low when the air is much hotter than the surface, which is the side that does harm.
Both describe free water; once bleed water is gone they are an upper bound. Use the mean wind, not the gust.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from jobs.physics.constants import (
    MENZEL_KG_M2_H_KPA,
    MENZEL_PER_KM_H,
    MENZEL_STILL_AIR,
    UNO_EXPONENT,
    UNO_FACTOR,
    UNO_OFFSET_C,
    UNO_STILL_AIR_KM_H,
    UNO_US_FACTOR,
    UNO_US_PER_MPH,
)
from jobs.physics.psychrometrics import saturation_vapour_pressure_kpa
from jobs.physics.validity import FloatArray, in_range, plain, same_shape


def evaporation_menzel_kg_m2_h(
    surface_c: ArrayLike, temp_air_c: ArrayLike, relative_humidity: ArrayLike, wind_km_h: ArrayLike
) -> float | FloatArray:
    """Evaporation from a wet surface, 0 where water would condense.

    ``0.31158 (e_s(Tc) - r e_s(Ta)) (0.253 + 0.059652 V)`` [MENZEL54, HOVER06], vapour pressure by [FAO56
    eq. 11]. The published chart spans surface 5-38 degC, air 5-35 degC, wind 0-40 km/h.

    Parameters
    ----------
    surface_c : [degC], -30 to 80, temperature of the plaster
    temp_air_c : [degC], -50 to 60
    relative_humidity : fraction, 0 to 1
    wind_km_h : [km/h], 0 to 200, mean wind 0.5 m above the surface; scalars or arrays of one shape

    Returns
    -------
    [kg/m2/h], common shape

    Raises
    ------
    ValueError
        Outside the ranges, or arrays of unequal shape.
    """
    surface, air, humidity, wind = _checked(surface_c, temp_air_c, relative_humidity, wind_km_h)
    deficit = saturation_vapour_pressure_kpa(surface) - humidity * saturation_vapour_pressure_kpa(air)
    return plain(np.maximum(0.0, MENZEL_KG_M2_H_KPA * deficit * (MENZEL_STILL_AIR + MENZEL_PER_KM_H * wind)))


def evaporation_uno_kg_m2_h(
    surface_c: ArrayLike, temp_air_c: ArrayLike, relative_humidity: ArrayLike, wind_km_h: ArrayLike
) -> float | FloatArray:
    """Evaporation by the closed form of Uno, a comparison, 0 where water would condense.

    ``5 ((Tc + 18)^2.5 - r (Ta + 18)^2.5) (V + 4) 1e-6`` [UNO98]; arguments, shapes and errors as in
    :func:`evaporation_menzel_kg_m2_h`, and no temperature below -18 degC, where the power has no value.

    Returns
    -------
    [kg/m2/h], common shape
    """
    surface, air, humidity, wind = _checked(surface_c, temp_air_c, relative_humidity, wind_km_h)
    for name, temp in (("surface temperature", surface), ("air temperature", air)):
        in_range(name, temp, -UNO_OFFSET_C, 80, "degC", "Uno 1998, SI form")
    drive = (surface + UNO_OFFSET_C) ** UNO_EXPONENT - humidity * (air + UNO_OFFSET_C) ** UNO_EXPONENT
    return plain(np.maximum(0.0, UNO_FACTOR * drive * (wind + UNO_STILL_AIR_KM_H)))


def evaporation_uno_lb_ft2_h(
    surface_f: ArrayLike, temp_air_f: ArrayLike, relative_humidity: ArrayLike, wind_mph: ArrayLike
) -> float | FloatArray:
    """The same closed form as printed in US units: ``(Tc^2.5 - r Ta^2.5) (1 + 0.4 V) 1e-6`` [UNO98].

    The two printed forms were rounded apart and differ by up to 5 %; the program computes in SI and shows
    this one only beside a US chart.

    Parameters
    ----------
    surface_f, temp_air_f : [degF], 0 to 150
    relative_humidity : fraction, 0 to 1
    wind_mph : [mph], 0 to 125; scalars or arrays of one shape

    Returns
    -------
    [lb/ft2/h], common shape

    Raises
    ------
    ValueError
        Outside the ranges, or arrays of unequal shape.
    """
    same_shape(surface_f=surface_f, temp_air_f=temp_air_f, relative_humidity=relative_humidity, wind_mph=wind_mph)
    surface = in_range("surface temperature", surface_f, 0, 150, "degF", "Uno 1998, US form")
    air = in_range("air temperature", temp_air_f, 0, 150, "degF", "Uno 1998, US form")
    humidity = in_range("relative humidity", relative_humidity, 0, 1, "as a fraction")
    wind = in_range("wind speed", wind_mph, 0, 125, "mph")
    drive = surface**UNO_EXPONENT - humidity * air**UNO_EXPONENT
    return plain(np.maximum(0.0, UNO_US_FACTOR * drive * (1 + UNO_US_PER_MPH * wind)))


def _checked(
    surface_c: ArrayLike, temp_air_c: ArrayLike, relative_humidity: ArrayLike, wind_km_h: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    same_shape(surface_c=surface_c, temp_air_c=temp_air_c, relative_humidity=relative_humidity, wind_km_h=wind_km_h)
    return (
        in_range("surface temperature", surface_c, -30, 80, "degC"),
        in_range("air temperature", temp_air_c, -50, 60, "degC"),
        in_range("relative humidity", relative_humidity, 0, 1, "as a fraction"),
        in_range("wind speed", wind_km_h, 0, 200, "km/h"),
    )
