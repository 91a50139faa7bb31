"""One root of a function for every element of an array."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from jobs.physics.validity import FloatArray

MOST_STEPS: Final = 100


def bracketed_root(
    function: Callable[[FloatArray], FloatArray], low: FloatArray, high: FloatArray, within: float
) -> FloatArray:
    """Where a function changes sign, to *within*; NaN where low and high do not enclose that place.

    Inverse quadratic interpolation where it is safe, else bisection (Chandrupatla 1997).

    Parameters
    ----------
    function : takes and gives an array of the shape of the bracket, element by element
    low, high : bracket, one shape
    within : half the width of the bracket at which to stop, in the unit of x
    """
    a, b = np.array(low, dtype=np.float64), np.array(high, dtype=np.float64)
    at_a, at_b = np.asarray(function(a)), np.asarray(function(b))
    enclosed = np.sign(at_a) * np.sign(at_b) <= 0
    t = np.full(a.shape, 0.5)
    best = a
    for _ in range(MOST_STEPS):
        x = a + t * (b - a)
        at_x = np.asarray(function(x))
        same = np.sign(at_x) == np.sign(at_a)
        c, at_c = np.where(same, a, b), np.where(same, at_a, at_b)
        b, at_b = np.where(same, b, a), np.where(same, at_b, at_a)
        a, at_a = x, at_x
        best = np.where(np.abs(at_a) < np.abs(at_b), a, b)
        at_best = np.minimum(np.abs(at_a), np.abs(at_b))
        with np.errstate(divide="ignore", invalid="ignore"):
            least = within / np.abs(b - c)
            t = _step(a, b, c, at_a, at_b, at_c)
        if np.all((least > 0.5) | (at_best == 0) | ~enclosed):
            break
        t = np.clip(t, np.minimum(least, 0.5), np.maximum(1 - least, 0.5))
    return np.where(enclosed, best, np.nan)


def _step(
    a: FloatArray, b: FloatArray, c: FloatArray, at_a: FloatArray, at_b: FloatArray, at_c: FloatArray
) -> FloatArray:
    xi, phi = (a - b) / (c - b), (at_a - at_b) / (at_c - at_b)
    safe = (phi**2 < xi) & ((1 - phi) ** 2 < 1 - xi)
    quadratic = at_a / (at_b - at_a) * at_c / (at_b - at_c)
    quadratic = quadratic + (c - a) / (b - a) * at_a / (at_c - at_a) * at_b / (at_c - at_b)
    return np.where(safe & np.isfinite(quadratic), quadratic, 0.5)
