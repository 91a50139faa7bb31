"""Batches, coverage, water in the coat, debris."""

from __future__ import annotations

import math

from numpy.typing import ArrayLike

from jobs.physics.constants import (
    CEMENT_RELATIVE_DENSITY,
    DEBRIS_KG_M3,
    DEBRIS_SWELL,
    MARBLE_RELATIVE_DENSITY,
    WATER_KG_M3,
)
from jobs.physics.validity import FloatArray, in_range, plain, same_shape


def batch_yield_m3(
    cement_kg: ArrayLike, aggregate_kg: ArrayLike, water_kg: ArrayLike, air: ArrayLike = 0
) -> float | FloatArray:
    """Volume of a batch of plaster by absolute volumes [ACI211], marble aggregate.

    ``(c/3.15 + a/2.70 + w) / rho_w / (1 - air)`` with water of 62.4 lb/ft3 (999.55 kg/m3).

    Parameters
    ----------
    cement_kg, water_kg : [kg], above 0 to 20000
    aggregate_kg : [kg], 0 to 50000
    air : fraction of the volume, 0 to 0.3; scalars or arrays of one shape

    Returns
    -------
    [m3], common shape

    Raises
    ------
    ValueError
        Outside the ranges, or arrays of unequal shape.
    """
    same_shape(cement_kg=cement_kg, aggregate_kg=aggregate_kg, water_kg=water_kg, air=air)
    cement = in_range("cement", cement_kg, 0, 20_000, "kg", low_open=True)
    aggregate = in_range("aggregate", aggregate_kg, 0, 50_000, "kg")
    water = in_range("mixing water", water_kg, 0, 20_000, "kg", low_open=True)
    voids = in_range("air content", air, 0, 0.3, "as a fraction of the volume")
    solid = (cement / CEMENT_RELATIVE_DENSITY + aggregate / MARBLE_RELATIVE_DENSITY + water) / WATER_KG_M3
    return plain(solid / (1 - voids))


def coverage_m2(yield_m3: ArrayLike, thickness_mm: ArrayLike) -> float | FloatArray:
    """Area that a volume of plaster covers at a thickness, without waste.

    Parameters
    ----------
    yield_m3 : [m3], above 0 to 100
    thickness_mm : [mm], 1 to 100; scalars or arrays of one shape

    Raises
    ------
    ValueError
        Outside the ranges, or arrays of unequal shape.
    """
    same_shape(yield_m3=yield_m3, thickness_mm=thickness_mm)
    volume = in_range("volume of plaster", yield_m3, 0, 100, "m3", low_open=True)
    return plain(volume / (_thickness(thickness_mm) / 1000))


def batches(area_m2: float, thickness_mm: float, yield_m3: float, waste: float = 0.1) -> int:
    """Whole batches for an area, with a share of waste (5 to 15 % is usual) [CP].

    Parameters
    ----------
    area_m2 : [m2], above 0 to 10000
    thickness_mm : [mm], 1 to 100
    yield_m3 : [m3] of one batch, above 0 to 100
    waste : fraction, 0 to 0.5

    Raises
    ------
    ValueError
        Outside the ranges.
    """
    area = float(_area(area_m2))
    extra = float(in_range("waste", waste, 0, 0.5, "as a fraction"))
    return math.ceil(area * (1 + extra) / float(coverage_m2(yield_m3, thickness_mm)) - 1e-9)


def debris_kg(area_m2: ArrayLike, thickness_mm: ArrayLike, density_kg_m3: float = DEBRIS_KG_M3) -> float | FloatArray:
    """Mass of plaster taken off an area; 130 lb/ft3 (2082 kg/m3) unless measured [CP].

    Parameters
    ----------
    area_m2 : [m2], above 0 to 10000
    thickness_mm : [mm], 1 to 100; scalars or arrays of one shape
    density_kg_m3 : [kg/m3], 1000 to 3000

    Raises
    ------
    ValueError
        Outside the ranges, or arrays of unequal shape.
    """
    same_shape(area_m2=area_m2, thickness_mm=thickness_mm)
    density = float(in_range("density of the debris", density_kg_m3, 1000, 3000, "kg/m3"))
    return plain(_area(area_m2) * _thickness(thickness_mm) / 1000 * density)


def debris_loose_m3(area_m2: ArrayLike, thickness_mm: ArrayLike, swell: float = DEBRIS_SWELL) -> float | FloatArray:
    """Room that the debris takes in a bin: volume in place times *swell*, 1 to 3 [CP].

    Raises
    ------
    ValueError
        Outside the ranges of :func:`debris_kg`, or arrays of unequal shape.
    """
    same_shape(area_m2=area_m2, thickness_mm=thickness_mm)
    loosened = float(in_range("swell of the debris", swell, 1, 3, "times"))
    return plain(_area(area_m2) * _thickness(thickness_mm) / 1000 * loosened)


def fresh_density_kg_m3(
    cement_kg: ArrayLike, aggregate_kg: ArrayLike, water_kg: ArrayLike, air: ArrayLike = 0
) -> float | FloatArray:
    """Density of fresh plaster: masses over :func:`batch_yield_m3` [ACI211]; arguments, errors as there."""
    volume = batch_yield_m3(cement_kg, aggregate_kg, water_kg, air)
    return plain(in_range("cement", cement_kg, 0, 20_000, "kg") / volume + (_sum(aggregate_kg, water_kg) / volume))


def water_in_coat_kg_m2(water_kg: ArrayLike, yield_m3: ArrayLike, thickness_mm: ArrayLike) -> float | FloatArray:
    """Mixing water in a coat per area: ``w t / Y`` (mass balance).

    Parameters
    ----------
    water_kg : [kg] in one batch, above 0 to 20000
    yield_m3 : [m3] of that batch, above 0 to 100
    thickness_mm : [mm], 1 to 100; scalars or arrays of one shape

    Raises
    ------
    ValueError
        Outside the ranges, or arrays of unequal shape.
    """
    same_shape(water_kg=water_kg, yield_m3=yield_m3, thickness_mm=thickness_mm)
    water = in_range("mixing water", water_kg, 0, 20_000, "kg", low_open=True)
    return plain(water / coverage_m2(yield_m3, thickness_mm))


def hours_to_lose(share: ArrayLike, water_kg_m2: ArrayLike, evaporation_kg_m2_h: ArrayLike) -> float | FloatArray:
    """Hours in which a drying rate takes a share of the water in the coat (mass balance).

    Parameters
    ----------
    share : fraction, 0 to 1
    water_kg_m2 : [kg/m2], above 0 to 100
    evaporation_kg_m2_h : [kg/m2/h], above 0 to 10; scalars or arrays of one shape

    Raises
    ------
    ValueError
        Outside the ranges, or arrays of unequal shape.
    """
    same_shape(share=share, water_kg_m2=water_kg_m2, evaporation_kg_m2_h=evaporation_kg_m2_h)
    part = in_range("share of the water", share, 0, 1, "as a fraction")
    water = in_range("water in the coat", water_kg_m2, 0, 100, "kg/m2", low_open=True)
    rate = in_range("drying rate", evaporation_kg_m2_h, 0, 10, "kg/m2/h", low_open=True)
    return plain(part * water / rate)


def _sum(aggregate_kg: ArrayLike, water_kg: ArrayLike) -> FloatArray:
    return in_range("aggregate", aggregate_kg, 0, 50_000, "kg") + in_range("water", water_kg, 0, 20_000, "kg")


def _area(area_m2: ArrayLike) -> FloatArray:
    return in_range("area", area_m2, 0, 10_000, "m2", low_open=True)


def _thickness(thickness_mm: ArrayLike) -> FloatArray:
    return in_range("thickness", thickness_mm, 1, 100, "mm")
