"""Balance of heat at a surface under the sky: sun, long-wave, wind, drying."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from jobs.physics.compiled import compiled
from jobs.physics.constants import (
    CONVECTION_CHANGE_M_S,
    CONVECTION_FAST,
    CONVECTION_SLOW,
    EMISSIVITY,
    KELVIN,
    LATENT_HEAT_J_KG,
    MENZEL_KG_M2_H_KPA,
    MENZEL_PER_KM_H,
    MENZEL_STILL_AIR,
    STEFAN_BOLTZMANN_W_M2_K4,
    UNO_EXPONENT,
    UNO_FACTOR,
    UNO_OFFSET_C,
    UNO_STILL_AIR_KM_H,
    VAPOUR_KPA,
    VAPOUR_OFFSET_C,
    VAPOUR_SLOPE,
)
from jobs.physics.sky import sky_emissivity
from jobs.physics.validity import FloatArray, in_range, plain

W_M2_PER_KG_M2_H: Final = LATENT_HEAT_J_KG / 3600.0


class Sky(NamedTuple):
    """Weather at the end of a step, scalars or arrays [column]; wind is that at the surface, cloud opaque."""

    temp_air_c: ArrayLike
    dew_point_c: ArrayLike
    wind_m_s: ArrayLike
    opaque_cloud_tenths: ArrayLike
    ghi_w_m2: ArrayLike


@dataclass(frozen=True)
class Surface:
    """The surface under the sky.

    Parameters
    ----------
    albedo : share of the sun reflected, 0 to 1
    wet : share of free-water evaporation, 0 to 1, scalar or array [column]
    sky_view : share of the sky that the surface sees, 0 to 1
    emissivity : of the surface
    evaporation : "menzel" or "uno"
    deep_c : fixed temperature below the column [C]
    convection_w_m2_k : a fixed value in place of that from the wind
    heat_w_m2 : heat released in the cells [cell] or [cell, column]
    """

    albedo: float = 0.45
    wet: ArrayLike = 0.0
    sky_view: float = 1.0
    emissivity: float = EMISSIVITY
    evaporation: str = "menzel"
    deep_c: ArrayLike = 14.0
    convection_w_m2_k: float | None = None
    heat_w_m2: ArrayLike = 0.0


def convection_w_m2_k(surface_wind_m_s: ArrayLike) -> float | FloatArray:
    """Convection at the surface: ``5.6 + 4 v`` up to 5 m/s, ``7.2 v^0.78`` above [JUERGES24].

    The two meet at 5 m/s with a step of 0.3 W/m2/K, as published.

    Raises
    ------
    ValueError
        For a wind outside 0 to 60 m/s.
    """
    wind = in_range("wind at the surface", surface_wind_m_s, 0, 60, "m/s")
    slow = CONVECTION_SLOW[0] + CONVECTION_SLOW[1] * wind
    return plain(np.where(wind <= CONVECTION_CHANGE_M_S, slow, CONVECTION_FAST[0] * wind ** CONVECTION_FAST[1]))


def surface_flux_w_m2(
    surface_temperature_c: ArrayLike, weather: Sky, surface: Surface
) -> tuple[FloatArray, FloatArray]:
    """Heat into the surface, and its change per kelvin of the surface.

    ``(1 - albedo) G + eps (F L_sky + (1 - F) sigma Ta^4 - sigma Ts^4) + h (Ta - Ts) - wet L E``, kelvin in
    fourth powers; drying does not turn into dew (E is not below 0).

    Returns
    -------
    flux [W/m2], slope [W/m2/K], shape of the arguments broadcast

    Raises
    ------
    ValueError
        For weather or an evaporation formula outside what the parts accept.
    """
    terms = surface_terms(weather, surface)
    shape = np.broadcast_shapes(np.shape(surface_temperature_c), *(np.shape(term) for term in terms))
    columns = [np.broadcast_to(np.asarray(term, float), shape).ravel() for term in terms]
    here = np.broadcast_to(np.asarray(surface_temperature_c, float), shape).ravel()
    flux, slope = np.empty(here.size), np.empty(here.size)
    uno = surface.evaporation == "uno"
    for i in range(here.size):
        sun, grey, wind, air, factor, vapour, wet = (float(column[i]) for column in columns)
        flux[i], slope[i] = flux_and_slope(float(here[i]), sun, grey, wind, air, factor, vapour, wet, uno)
    return flux.reshape(shape), slope.reshape(shape)


def surface_terms(weather: Sky, surface: Surface) -> tuple[FloatArray, ...]:
    """The parts of the flux that do not depend on the surface temperature.

    absorbed [W/m2] (sun and long-wave from above), emissivity, convection [W/m2/K], air [C], drying factor
    [kg/m2/h per kPa, or per power of K], drying term of the air, wet share.
    """
    if surface.evaporation not in ("menzel", "uno"):
        raise ValueError(f"evaporation is {surface.evaporation!r}; it must be 'menzel' or 'uno'.")
    temp = in_range("air temperature", weather.temp_air_c, -50, 60, "C")
    sun = in_range("global irradiance", weather.ghi_w_m2, 0, 1600, "W/m2")
    wind = in_range("wind at the surface", weather.wind_m_s, 0, 60, "m/s")
    dew = in_range("dew point", weather.dew_point_c, -60, 40, "C")
    grey = STEFAN_BOLTZMANN_W_M2_K4 * (temp + KELVIN) ** 4
    sky = np.asarray(sky_emissivity(*np.broadcast_arrays(dew, np.asarray(weather.opaque_cloud_tenths, float))))
    long_wave = grey * (surface.sky_view * sky + 1 - surface.sky_view)
    absorbed = (1 - surface.albedo) * sun + surface.emissivity * long_wave
    fixed = surface.convection_w_m2_k
    convection = np.asarray(convection_w_m2_k(wind)) if fixed is None else np.full_like(wind, fixed)
    factor, air_term = drying_terms(temp, dew, wind, surface.evaporation == "uno")
    wet = in_range("wetness", surface.wet, 0, 1, "as a fraction")
    return absorbed, np.asarray(surface.emissivity, float), convection, temp, factor, air_term, wet


def drying_terms(
    temp_c: FloatArray, dew_c: FloatArray, wind_m_s: FloatArray, uno: bool
) -> tuple[FloatArray, FloatArray]:
    """Factor and air term with which evaporation is ``factor (f(surface) - air)``, f as :func:`drying_base`."""
    wind = 3.6 * wind_m_s
    vapour = VAPOUR_KPA * np.exp(VAPOUR_SLOPE * dew_c / (dew_c + VAPOUR_OFFSET_C))
    if uno:
        full = VAPOUR_KPA * np.exp(VAPOUR_SLOPE * temp_c / (temp_c + VAPOUR_OFFSET_C))
        humid = np.minimum(vapour / full, 1.0) * np.maximum(temp_c + UNO_OFFSET_C, 0.0) ** UNO_EXPONENT
        return UNO_FACTOR * (wind + UNO_STILL_AIR_KM_H), humid
    return MENZEL_KG_M2_H_KPA * (MENZEL_STILL_AIR + MENZEL_PER_KM_H * wind), vapour


@compiled
def drying_base(surface_c: float, uno: bool) -> tuple[float, float]:
    """What the surface gives to evaporation, and its slope: vapour pressure (Menzel) or power (Uno)."""
    if uno:
        warm = max(surface_c + UNO_OFFSET_C, 0.0)
        root = np.sqrt(warm)
        return warm * warm * root, UNO_EXPONENT * warm * root
    below = 1.0 / (surface_c + VAPOUR_OFFSET_C)
    vapour = VAPOUR_KPA * np.exp(VAPOUR_SLOPE * surface_c * below)
    return vapour, vapour * VAPOUR_SLOPE * VAPOUR_OFFSET_C * below * below


@compiled
def flux_and_slope(
    surface_c: float,
    absorbed: float,
    emissivity: float,
    convection: float,
    air_c: float,
    factor: float,
    air_term: float,
    wet: float,
    uno: bool,
) -> tuple[float, float]:
    """Heat into the surface [W/m2] and its slope [W/m2/K]; see :func:`surface_flux_w_m2`."""
    kelvin = surface_c + KELVIN
    cube = emissivity * STEFAN_BOLTZMANN_W_M2_K4 * kelvin * kelvin * kelvin
    flux = absorbed - cube * kelvin + convection * (air_c - surface_c)
    slope = -4.0 * cube - convection
    if wet > 0.0:
        base, rise = drying_base(surface_c, uno)
        if base > air_term:
            flux -= wet * W_M2_PER_KG_M2_H * factor * (base - air_term)
            slope -= wet * W_M2_PER_KG_M2_H * factor * rise
    return flux, slope
