"""Refusing values outside the range in which a formula holds."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def in_range(
    quantity: str,
    value: ArrayLike,
    low: float,
    high: float,
    unit: str,
    source: str = "",
    *,
    low_open: bool = False,
) -> FloatArray:
    """Return *value* as a float array, or refuse it with one sentence.

    Parameters
    ----------
    quantity : name of the quantity in words, as a form would label it
    value : scalar or array of any shape
    low, high : allowed range, both ends included (*low_open* excludes the lower end)
    unit : unit shown to a person, "" for a pure number
    source : where the range comes from (a key of :mod:`jobs.physics.sources` or a few words)

    Raises
    ------
    ValueError
        Naming quantity, offending value, range and unit; also for NaN and infinite values.
    """
    array = np.asarray(value, dtype=np.float64)
    with np.errstate(invalid="ignore"):
        ok = np.isfinite(array) & (array <= high) & ((array > low) if low_open else (array >= low))
    if not np.all(ok):
        raise ValueError(sentence(quantity, float(array[~ok].flat[0]), low, high, unit, source, low_open))
    return array


def sentence(
    quantity: str, value: float, low: float, high: float, unit: str, source: str = "", low_open: bool = False
) -> str:
    """The refusal in words: "wind speed is 468.7 m/s; allowed is 0 to 75 m/s (source)"."""
    tail = f" {unit}" if unit else ""
    start = "more than " if low_open else ""
    because = f" ({source})" if source else ""
    if not np.isfinite(value):
        return f"{quantity} must be a number; allowed is {start}{low:g} to {high:g}{tail}{because}."
    return f"{quantity} is {value:g}{tail}; allowed is {start}{low:g} to {high:g}{tail}{because}."


def same_shape(**arrays: ArrayLike) -> None:
    """Refuse arrays that differ in shape (scalars go with anything).

    Raises
    ------
    ValueError
        Naming each argument with its shape.
    """
    shapes = {name: np.shape(value) for name, value in arrays.items()}
    if len({shape for shape in shapes.values() if shape}) > 1:
        listed = ", ".join(f"{name} {shape}" for name, shape in shapes.items())
        raise ValueError(f"arrays must have one shape: {listed}.")


def plain(array: FloatArray) -> float | FloatArray:
    """A float for a 0-d result, the array itself otherwise."""
    return float(array) if array.ndim == 0 else array
