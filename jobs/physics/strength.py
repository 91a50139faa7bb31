"""Strength gain, and the calendar days that 28 days at 20 degC stand for."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from jobs.physics.constants import ACI_STRENGTH_A_D, ACI_STRENGTH_B, STRENGTH_REFERENCE_D, STRENGTH_S_NORMAL
from jobs.physics.setting import hardening_rate
from jobs.physics.validity import FloatArray, in_range, plain, same_shape


def strength_ratio(age_d: ArrayLike, s: ArrayLike = STRENGTH_S_NORMAL) -> float | FloatArray:
    """Compressive strength as a share of that at 28 days of 20 degC.

    ``exp(s (1 - sqrt(28 / t)))`` [EC2 eq. 3.2, FIB10 eq. 5.1-51]; s is 0.20 for rapid, 0.25 normal, 0.38
    slow cement. For another temperature give the equivalent age.

    Parameters
    ----------
    age_d : [d], 0 to 36525
    s : 0.1 to 0.5; scalars or arrays of one shape

    Raises
    ------
    ValueError
        Outside the ranges, or arrays of unequal shape.
    """
    same_shape(age_d=age_d, s=s)
    age = in_range("age", age_d, 0, 36_525, "days")
    cement = in_range("cement coefficient s", s, 0.1, 0.5, "", "EN 1992-1-1 eq. 3.2")
    with np.errstate(divide="ignore"):
        return plain(np.exp(cement * (1 - np.sqrt(STRENGTH_REFERENCE_D / age))))


def strength_ratio_aci(
    age_d: ArrayLike, a_d: ArrayLike = ACI_STRENGTH_A_D, b: ArrayLike = ACI_STRENGTH_B
) -> float | FloatArray:
    """Compressive strength as a share of that at 28 days: ``t / (a + b t)`` [ACI209 eq. 2-1], a comparison.

    Parameters
    ----------
    age_d : [d], 0 to 36525
    a_d : [d], 0.5 to 15; 4.0 for Type I, 2.3 for Type III cement, moist cured
    b : 0.5 to 1; 0.85 for Type I, 0.92 for Type III; scalars or arrays of one shape

    Raises
    ------
    ValueError
        Outside the ranges, or arrays of unequal shape.
    """
    same_shape(age_d=age_d, a_d=a_d, b=b)
    age = in_range("age", age_d, 0, 36_525, "days")
    early = in_range("coefficient a", a_d, 0.5, 15, "days", "ACI 209R-92")
    late = in_range("coefficient b", b, 0.5, 1, "", "ACI 209R-92")
    return plain(age / (early + late * age))


def calendar_days_to_28(temp_c: ArrayLike) -> float | FloatArray:
    """Calendar days at *temp_c* in which cement comes as far as in 28 days at 20 degC [FIB10 eq. 5.1-85].

    Parameters
    ----------
    temp_c : [degC], 0 to 60, temperature of the water or the plaster, scalar or array

    Returns
    -------
    [d]; 28.05 at 20 degC, because the printed rate is 0.9981 there

    Raises
    ------
    ValueError
        Outside the range.
    """
    temp = in_range("temperature", temp_c, 0, 60, "degC", "fib Model Code 2010 eq. 5.1-85")
    return plain(STRENGTH_REFERENCE_D / np.asarray(hardening_rate(temp)))
