"""US customary and metric units, and nothing else: forms and templates convert, formulas are SI."""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from jobs.physics.constants import FOOT_M, GRAVITY_M_S2, KELVIN, POUND_KG, US_GALLON_M3
from jobs.physics.validity import FloatArray, plain

_INCH_M: Final = FOOT_M / 12
_MILE_M: Final = 5280 * FOOT_M
_POUND_N: Final = POUND_KG * GRAVITY_M_S2
_PSI_PA: Final = _POUND_N / _INCH_M**2

# unit: (quantity, size in the SI unit of that quantity), exact by definition [HB44]
UNITS: Final[Mapping[str, tuple[str, float]]] = MappingProxyType(
    {
        "m": ("length", 1.0),
        "mm": ("length", 0.001),
        "cm": ("length", 0.01),
        "km": ("length", 1000.0),
        "ft": ("length", FOOT_M),
        "in": ("length", _INCH_M),
        "mi": ("length", _MILE_M),
        "m2": ("area", 1.0),
        "ft2": ("area", FOOT_M**2),
        "yd2": ("area", (3 * FOOT_M) ** 2),
        "m3": ("volume", 1.0),
        "L": ("volume", 0.001),
        "mL": ("volume", 1e-6),
        "ft3": ("volume", FOOT_M**3),
        "yd3": ("volume", (3 * FOOT_M) ** 3),
        "gal": ("volume", US_GALLON_M3),
        "pt": ("volume", US_GALLON_M3 / 8),
        "fl oz": ("volume", US_GALLON_M3 / 128),
        "kg": ("mass", 1.0),
        "g": ("mass", 0.001),
        "t": ("mass", 1000.0),
        "lb": ("mass", POUND_KG),
        "oz": ("mass", POUND_KG / 16),
        "kN": ("force", 1000.0),
        "N": ("force", 1.0),
        "lbf": ("force", _POUND_N),
        "Pa": ("pressure", 1.0),
        "kPa": ("pressure", 1000.0),
        "MPa": ("pressure", 1e6),
        "psi": ("pressure", _PSI_PA),
        "psf": ("pressure", _PSI_PA / 144),
        "s": ("time", 1.0),
        "min": ("time", 60.0),
        "h": ("time", 3600.0),
        "d": ("time", 86400.0),
        "m/s": ("speed", 1.0),
        "km/h": ("speed", 1 / 3.6),
        "mph": ("speed", _MILE_M / 3600),
        "kn": ("speed", 1852 / 3600),
        "m3/s": ("flow", 1.0),
        "m3/h": ("flow", 1 / 3600),
        "L/min": ("flow", 0.001 / 60),
        "gpm": ("flow", US_GALLON_M3 / 60),
        "kg/m2/h": ("drying rate", 1.0),
        "lb/ft2/h": ("drying rate", POUND_KG / FOOT_M**2),
        "kg/m2": ("mass per area", 1.0),
        "lb/ft2": ("mass per area", POUND_KG / FOOT_M**2),
        "kg/m3": ("density", 1.0),
        "lb/ft3": ("density", POUND_KG / FOOT_M**3),
        "W": ("power", 1.0),
        "kW": ("power", 1000.0),
        "hp": ("power", 550 * FOOT_M * _POUND_N),
        "C": ("temperature", 1.0),
        "K": ("temperature", 1.0),
        "F": ("temperature", 5 / 9),
        "delta C": ("temperature difference", 1.0),
        "delta F": ("temperature difference", 5 / 9),
    }
)
_ZERO_C: Final = {"C": 0.0, "K": -KELVIN, "F": -32 * 5 / 9}  # what 0 of the unit is in degC


def convert(value: ArrayLike, from_unit: str, to_unit: str) -> float | FloatArray:
    """The same quantity in another unit: ``convert(10, "ft", "m")`` is 3.048.

    Parameters
    ----------
    value : [from_unit], scalar or array of any shape
    from_unit, to_unit : keys of :data:`UNITS`; "C" and "F" are temperatures, "delta F" a difference

    Raises
    ------
    ValueError
        For an unknown unit, or two units of different quantities, or a value that is not a number.
    """
    from_quantity, from_size = _unit(from_unit)
    to_quantity, to_size = _unit(to_unit)
    if from_quantity != to_quantity:
        raise ValueError(f"{from_unit} is a {from_quantity} and {to_unit} a {to_quantity}; choose one quantity.")
    array = np.asarray(value, dtype=np.float64)
    if not np.all(np.isfinite(array)):
        raise ValueError(f"{from_quantity} must be a number of {from_unit}.")
    if from_unit == to_unit:
        return plain(array)
    base = array * from_size + _ZERO_C.get(from_unit, 0.0)
    return plain((base - _ZERO_C.get(to_unit, 0.0)) / to_size)


def _unit(name: str) -> tuple[str, float]:
    if name not in UNITS:
        raise ValueError(f"{name!r} is not a unit known here; known are {', '.join(UNITS)}.")
    return UNITS[name]


_DURATION: Final = re.compile(
    r"P(?:(?P<d>\d+(?:\.\d+)?)D)?(?:T(?=\d)(?:(?P<h>\d+(?:\.\d+)?)H)?(?:(?P<min>\d+(?:\.\d+)?)M)?"
    r"(?:(?P<s>\d+(?:\.\d+)?)S)?)?"
)


def duration_h(text: str) -> float:
    """Hours of an ISO 8601 duration in days, hours, minutes and seconds: "P1DT6H" is 30.

    Raises
    ------
    ValueError
        For any other text; years and months have no fixed length and are refused too [ISO8601].
    """
    match = _DURATION.fullmatch(text)
    parts = {unit: float(number) for unit, number in match.groupdict().items() if number} if match else {}
    if not parts:
        raise ValueError(f"{text!r} is not a duration; write days, hours or minutes like P1DT6H or PT30M.")
    return sum(number * UNITS[unit][1] for unit, number in parts.items()) / UNITS["h"][1]
