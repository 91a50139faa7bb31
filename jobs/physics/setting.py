"""How fast cement sets and hardens: rate factors, equivalent age, set times, mix temperature.

Temperatures are those of the material, not of the air. The evidence spans 0-40 degC with moisture
available; values beyond are computed, so that a frosty or a sun-baked hour in a series does not stop it,
but nothing below freezing should be counted as hardening without saying so.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from jobs.physics.constants import (
    FHP_COLD_J_MOL_K,
    FHP_REFERENCE_C,
    FHP_WARM_J_MOL,
    GAS_CONSTANT_J_MOL_K,
    HARDENING_ACTIVATION_K,
    HARDENING_EXPONENT,
    HARDENING_KELVIN,
    KELVIN,
    MIX_HEAT_RATIO,
    NURSE_SAUL_DATUM_C,
)
from jobs.physics.validity import FloatArray, in_range, plain, same_shape


def rate_factor(temp_c: ArrayLike, reference_c: ArrayLike, activation_k: ArrayLike) -> float | FloatArray:
    """Rate of hydration at *temp_c* relative to that at *reference_c*.

    ``exp(-Q (1/T - 1/Tref))``, kelvin by 273.15 [C1074 eq. 2, FHP77].

    Parameters
    ----------
    temp_c, reference_c : [degC], -40 to 80
    activation_k : [K], 1000 to 10000: activation energy over gas constant; scalars or arrays of one shape

    Returns
    -------
    pure number, common shape

    Raises
    ------
    ValueError
        Outside the ranges, or arrays of unequal shape.
    """
    same_shape(temp_c=temp_c, reference_c=reference_c, activation_k=activation_k)
    temp = _material("temperature of the plaster", temp_c)
    reference = _material("reference temperature", reference_c)
    activation = in_range("activation temperature", activation_k, 1000, 10_000, "K", "ASTM C1074")
    return plain(np.exp(-activation * (1 / (temp + KELVIN) - 1 / (reference + KELVIN))))


def equivalent_age_h(temp_c: ArrayLike, step_h: ArrayLike) -> float | FloatArray:
    """Age at 20 degC that means the same hardening as the temperatures of *temp_c*, each held for *step_h*.

    ``sum(exp(13.65 - 4000 / (273 + T)) dt)`` [FIB10 eq. 5.1-85], with 273 as printed there; at 20 degC the
    sum is 0.9981 of the time. Days instead of hours may be given: the unit of *step_h* comes back.

    Parameters
    ----------
    temp_c : [degC], -40 to 80, scalar or array with time on the last axis
    step_h : [h], 0 to 10000, scalar or array of the same shape

    Returns
    -------
    [h], the sum over the last axis

    Raises
    ------
    ValueError
        Outside the ranges, or arrays of unequal shape.
    """
    same_shape(temp_c=temp_c, step_h=step_h)
    temp = _material("temperature of the plaster", temp_c)
    step = in_range("time step", step_h, 0, 10_000, "h")
    aged = hardening_rate(temp) * step
    return plain(np.asarray(aged).sum(axis=-1) if np.ndim(aged) else np.asarray(aged))


def hardening_rate(temp_c: ArrayLike) -> float | FloatArray:
    """Hours at 20 degC per hour at *temp_c* [degC]: ``exp(13.65 - 4000 / (273 + T))`` [FIB10 eq. 5.1-85].

    Raises
    ------
    ValueError
        Outside -40 to 80 degC.
    """
    temp = _material("temperature of the plaster", temp_c)
    return plain(np.exp(HARDENING_EXPONENT - HARDENING_ACTIVATION_K / (HARDENING_KELVIN + temp)))


def set_time_h(
    reference_set_h: ArrayLike, reference_c: ArrayLike, temp_c: ArrayLike, activation_k: ArrayLike
) -> float | FloatArray:
    """Set time at a constant temperature, from a set time known at another: ``t_ref / rate_factor`` [PH99].

    Parameters
    ----------
    reference_set_h : [h], above 0 to 72
    reference_c, temp_c : [degC], -40 to 80
    activation_k : [K], 1000 to 10000; scalars or arrays of one shape

    Raises
    ------
    ValueError
        Outside the ranges, or arrays of unequal shape.
    """
    same_shape(reference_set_h=reference_set_h, reference_c=reference_c, temp_c=temp_c, activation_k=activation_k)
    known = in_range("reference set time", reference_set_h, 0, 72, "h", low_open=True)
    return plain(known / rate_factor(temp_c, reference_c, activation_k))


def set_time_of_day_h(
    reference_set_h: float, reference_c: float, temp_c: ArrayLike, step_h: float, activation_k: float
) -> float:
    """Hours from mixing to set while the temperature changes; infinite if the series ends before.

    The rate factor is summed until it reaches the reference set time, linearly inside the last step [PH99].

    Parameters
    ----------
    reference_set_h : [h], above 0 to 72
    reference_c : [degC]
    temp_c : [degC], one-dimensional, each value held for *step_h*
    step_h : [h], above 0 to 24
    activation_k : [K]

    Raises
    ------
    ValueError
        Outside the ranges, or if *temp_c* is not one-dimensional.
    """
    needed = float(in_range("reference set time", reference_set_h, 0, 72, "h", low_open=True))
    step = float(in_range("time step", step_h, 0, 24, "h", low_open=True))
    rates = np.asarray(rate_factor(temp_c, reference_c, activation_k))
    if rates.ndim != 1:
        raise ValueError("temperatures must be one series of hours, one value for each step.")
    aged = np.concatenate(([0.0], np.cumsum(rates) * step))
    if aged[-1] < needed:
        return float("inf")
    return float(np.interp(needed, aged, np.arange(len(aged)) * step))


def activation_from_set_times_k(set_h: float, temp_c: float, other_set_h: float, other_c: float) -> float:
    """Activation temperature [K] that two set times at two temperatures imply: ``ln(t1/t2) / (1/T1 - 1/T2)``.

    Parameters
    ----------
    set_h, other_set_h : [h], above 0 to 72
    temp_c, other_c : [degC], at least 2 degrees apart

    Raises
    ------
    ValueError
        Outside the ranges, or for temperatures too close to tell.
    """
    first = float(in_range("set time", set_h, 0, 72, "h", low_open=True))
    second = float(in_range("other set time", other_set_h, 0, 72, "h", low_open=True))
    warm, cool = float(_material("temperature", temp_c)), float(_material("other temperature", other_c))
    in_range("distance of the two temperatures", abs(warm - cool), 2, 120, "degrees C")
    return float(np.log(first / second) / (1 / (warm + KELVIN) - 1 / (cool + KELVIN)))


def maturity_c_h(temp_c: ArrayLike, step_h: ArrayLike, datum_c: float = NURSE_SAUL_DATUM_C) -> float | FloatArray:
    """Temperature-time factor of Nurse and Saul: ``sum((T - T0) dt)`` [C1074 eq. 1], nothing below T0.

    Parameters
    ----------
    temp_c : [degC], -40 to 80, scalar or array with time on the last axis
    step_h : [h], scalar or array of the same shape
    datum_c : [degC], -20 to 10

    Returns
    -------
    [degC h], the sum over the last axis

    Raises
    ------
    ValueError
        Outside the ranges, or arrays of unequal shape.
    """
    same_shape(temp_c=temp_c, step_h=step_h)
    temp = _material("temperature of the plaster", temp_c)
    step = in_range("time step", step_h, 0, 10_000, "h")
    datum = float(in_range("datum temperature", datum_c, -20, 10, "degC", "ASTM C1074"))
    gained = np.asarray(np.maximum(0.0, temp - datum) * step)
    return plain(gained.sum(axis=-1) if gained.ndim else gained)


def activation_energy_j_mol(temp_c: ArrayLike) -> float | FloatArray:
    """Activation energy [J/mol]: 33500, below 20 degC 1470 more for each degree [FHP77].

    Parameters
    ----------
    temp_c : [degC], -40 to 80, scalar or array

    Raises
    ------
    ValueError
        Outside the range.
    """
    temp = _material("temperature of the plaster", temp_c)
    return plain(FHP_WARM_J_MOL + FHP_COLD_J_MOL_K * np.maximum(0.0, FHP_REFERENCE_C - temp))


def rate_factor_fhp(temp_c: ArrayLike) -> float | FloatArray:
    """Rate factor against 20 degC with the temperature-dependent activation energy, a comparison [FHP77].

    Parameters
    ----------
    temp_c : [degC], -40 to 80, scalar or array

    Raises
    ------
    ValueError
        Outside the range.
    """
    temp = _material("temperature of the plaster", temp_c)
    activation = activation_energy_j_mol(temp) / GAS_CONSTANT_J_MOL_K
    return plain(np.exp(-activation * (1 / (temp + KELVIN) - 1 / (FHP_REFERENCE_C + KELVIN))))


def mix_temperature_c(
    aggregate_c: ArrayLike,
    cement_c: ArrayLike,
    water_c: ArrayLike,
    aggregate_kg: ArrayLike,
    cement_kg: ArrayLike,
    water_kg: ArrayLike,
) -> float | FloatArray:
    """Temperature of freshly mixed plaster from dry aggregate, cement and water, no ice.

    ``(0.22 (Ta Wa + Tc Wc) + Tw Ww) / (0.22 (Wa + Wc) + Ww)`` [ACI305, ACI306 sec. 3.7, form from memory].

    Parameters
    ----------
    aggregate_c, cement_c : [degC], -20 to 90
    water_c : [degC], 0 to 90
    aggregate_kg, cement_kg : [kg], 0 to 100000
    water_kg : [kg], above 0 to 100000; scalars or arrays of one shape

    Raises
    ------
    ValueError
        Outside the ranges, or arrays of unequal shape.
    """
    same_shape(
        aggregate_c=aggregate_c,
        cement_c=cement_c,
        water_c=water_c,
        aggregate_kg=aggregate_kg,
        cement_kg=cement_kg,
        water_kg=water_kg,
    )
    aggregate = in_range("aggregate temperature", aggregate_c, -20, 90, "degC")
    cement = in_range("cement temperature", cement_c, -20, 90, "degC")
    water = in_range("water temperature", water_c, 0, 90, "degC")
    stone = MIX_HEAT_RATIO * in_range("aggregate", aggregate_kg, 0, 100_000, "kg")
    powder = MIX_HEAT_RATIO * in_range("cement", cement_kg, 0, 100_000, "kg")
    wet = in_range("mixing water", water_kg, 0, 100_000, "kg", low_open=True)
    return plain((aggregate * stone + cement * powder + water * wet) / (stone + powder + wet))


def _material(quantity: str, temp_c: ArrayLike) -> FloatArray:
    return in_range(quantity, temp_c, -40, 80, "degC")
