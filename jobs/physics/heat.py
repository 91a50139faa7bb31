"""Heat that people work in. Limits here warn; local rules and a competent person decide."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from jobs.physics.constants import (
    HEAT_INDEX_COLD_F,
    HEAT_INDEX_HAND_OVER_F,
    HEAT_INDEX_TERMS,
    WBGT_ACCLIMATISED,
    WBGT_SHARES,
    WBGT_UNACCLIMATISED,
)
from jobs.physics.units import convert
from jobs.physics.validity import FloatArray, in_range, plain, same_shape


def heat_index_c(temp_c: ArrayLike, relative_humidity: ArrayLike) -> float | FloatArray:
    """How hot the air feels in shade and light wind, in the form of the US National Weather Service.

    The simple form ``0.5 (T + 61 + 1.2 (T - 68) + 0.094 RH)``, which is already averaged with T, holds
    below 80 degF; from there the regression of nine terms with its two adjustments [NWS90]; at 40 degF and
    below the air itself. Full sun adds up to 8 degC (from memory). Some libraries hand over at 79 degF and
    differ by up to 0.3 degC there.

    Parameters
    ----------
    temp_c : [degC], -50 to 55, air in the shade
    relative_humidity : fraction, 0 to 1; scalars or arrays of one shape

    Returns
    -------
    [degC], common shape

    Raises
    ------
    ValueError
        Outside the ranges, or arrays of unequal shape.
    """
    same_shape(temp_c=temp_c, relative_humidity=relative_humidity)
    air_c = in_range("air temperature", temp_c, -50, 55, "degC")
    humidity = in_range("relative humidity", relative_humidity, 0, 1, "as a fraction")
    temp, percent = np.asarray(convert(air_c, "C", "F")), 100 * humidity
    simple = 0.5 * (temp + 61 + 1.2 * (temp - 68) + 0.094 * percent)
    felt = np.where(simple < HEAT_INDEX_HAND_OVER_F, simple, _regression_f(temp, percent))
    felt = np.where(temp <= HEAT_INDEX_COLD_F, temp, felt)
    return convert(felt, "F", "C")


def _regression_f(temp: FloatArray, percent: FloatArray) -> FloatArray:
    felt = sum(factor * temp**t * percent**r for factor, t, r in HEAT_INDEX_TERMS)
    dry = (13 - percent) / 4 * np.sqrt(np.maximum(0, 17 - np.abs(temp - 95)) / 17)
    humid = (percent - 85) / 10 * (87 - temp) / 5
    felt = np.where((percent < 13) & (temp >= 80) & (temp <= 112), felt - dry, felt)
    return np.where((percent > 85) & (temp >= 80) & (temp <= 87), felt + humid, felt)


def wbgt_c(natural_wet_bulb_c: ArrayLike, globe_c: ArrayLike, temp_air_c: ArrayLike) -> float | FloatArray:
    """Wet bulb globe temperature outdoors: ``0.7 Tnwb + 0.2 Tg + 0.1 Ta`` [ISO7243, NIOSH16].

    Parameters
    ----------
    natural_wet_bulb_c, temp_air_c : [degC], -30 to 60
    globe_c : [degC], -30 to 90; scalars or arrays of one shape

    Raises
    ------
    ValueError
        Outside the ranges, or arrays of unequal shape.
    """
    same_shape(natural_wet_bulb_c=natural_wet_bulb_c, globe_c=globe_c, temp_air_c=temp_air_c)
    wet = in_range("natural wet bulb temperature", natural_wet_bulb_c, -30, 60, "degC")
    globe = in_range("globe temperature", globe_c, -30, 90, "degC")
    air = in_range("air temperature", temp_air_c, -30, 60, "degC")
    of_wet, of_globe, of_air = WBGT_SHARES
    return plain(of_wet * wet + of_globe * globe + of_air * air)


def wbgt_limit_c(metabolic_w: ArrayLike, acclimatised: bool) -> float | FloatArray:
    """Wet bulb globe temperature above which work of this effort needs rest or relief [NIOSH16].

    ``56.7 - 11.5 log10 M`` for people used to the heat (REL), ``59.9 - 14.1 log10 M`` for new ones (RAL).

    Parameters
    ----------
    metabolic_w : [W], 100 to 700: about 200 light, 300 moderate, 415 heavy work
    acclimatised : whether the person has worked in this heat for a week or two

    Raises
    ------
    ValueError
        Outside the range.
    """
    effort = in_range("metabolic rate", metabolic_w, 100, 700, "W", "NIOSH 2016-106")
    start, slope = WBGT_ACCLIMATISED if acclimatised else WBGT_UNACCLIMATISED
    return plain(start - slope * np.log10(effort))
