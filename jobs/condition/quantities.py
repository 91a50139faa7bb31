"""From a scope and a measured pool to areas, hours, batches, water, bond coat and debris."""

from __future__ import annotations

import math
from dataclasses import dataclass

from jobs.physics.material import batch_yield_m3, coverage_m2, debris_kg
from jobs.physics.validity import in_range
from jobs.timeline.rates import Rates

TAPER_HEIGHT_M = 0.25  # CP: chipped 8 to 12 in (200-300 mm) below the tile line


@dataclass(frozen=True)
class PoolFigures:
    """Measured pool, SI: areas in m2, lengths in m, volume in m3."""

    surface_m2: float
    volume_m3: float
    plan_m2: float
    perimeter_m: float
    deepest_m: float


@dataclass(frozen=True)
class ScopeFigures:
    """What a scope asks for: share taken to the shell, coats off, paint, cut at the tile line, repair hours."""

    strip_share: float
    coats_off: int
    painted: bool
    tile_line_cut: bool
    repairs_h: float = 0.0


@dataclass(frozen=True)
class Quantities:
    """Work in person-hours, material in kg and pieces, water in m3."""

    surface_m2: float
    strip_m2: float
    taper_m2: float
    cut_m: float
    paint_m2: float
    prep_person_h: float
    prep_parts: tuple[tuple[str, float, str, float], ...]
    bond_h: float
    laying_h: float
    batches: int
    cement_kg: float
    aggregate_kg: float
    mixing_water_l: float
    bond_coat_kg: float
    debris_kg: float
    fill_m3: float


def quantities(pool: PoolFigures, scope: ScopeFigures, rates: Rates) -> Quantities:
    """Quantities of one job.

    Parameters
    ----------
    pool : measured figures [m, m2, m3]
    scope : strip share 0 to 1, coats 0 to 6, repairs in person-hours
    rates : the firm's own rates

    Raises
    ------
    ValueError
        For a share, coat count or area outside its range.
    """
    in_range("share stripped to the shell", scope.strip_share, 0.0, 1.0, "")
    in_range("coats taken off", scope.coats_off, 0, 6, "coats")
    in_range("surface", pool.surface_m2, 1.0, 5000.0, "m²")
    strip = pool.surface_m2 * scope.strip_share
    cut = pool.perimeter_m if scope.tile_line_cut else 0.0
    taper = cut * TAPER_HEIGHT_M * (1.0 - scope.strip_share)
    paint = (pool.surface_m2 - strip) if scope.painted else 0.0
    coats = max(1, scope.coats_off)
    parts = (
        ("strip to the shell", strip * coats, "m²", strip * coats / rates.strip_m2_h),
        ("saw cut at the tile line", cut, "m", cut / rates.tile_line_cut_m_h),
        ("chip the taper", taper, "m²", taper / rates.taper_m2_h),
        ("take paint off", paint, "m²", paint / rates.paint_removal_m2_h),
        ("roughen what stays", pool.surface_m2 - strip, "m²", (pool.surface_m2 - strip) / rates.roughen_m2_h),
        ("wash down", pool.surface_m2, "m²", pool.surface_m2 / rates.wash_m2_h),
        ("repairs", scope.repairs_h, "h", scope.repairs_h),
        ("set up and clear", 1.0, "", rates.prep_fixed_h),
    )
    wanted = pool.surface_m2 * (1.0 + rates.waste_share)
    a_batch = coverage_m2(
        yield_m3=batch_yield_m3(
            cement_kg=rates.batch_cement_kg,
            aggregate_kg=rates.batch_aggregate_kg,
            water_kg=rates.batch_water_kg,
        ),
        thickness_mm=rates.coat_thickness_mm,
    )
    batches = math.ceil(wanted / float(a_batch))
    off_mm = rates.coat_thickness_mm
    return Quantities(
        surface_m2=pool.surface_m2,
        strip_m2=strip,
        taper_m2=taper,
        cut_m=cut,
        paint_m2=paint,
        prep_person_h=sum(hours for *_, hours in parts),
        prep_parts=tuple(part for part in parts if part[3] > 0),
        bond_h=pool.surface_m2 / rates.bond_m2_h,
        laying_h=pool.surface_m2 / rates.laying_m2_h,
        batches=batches,
        cement_kg=batches * rates.batch_cement_kg,
        aggregate_kg=batches * rates.batch_aggregate_kg,
        mixing_water_l=batches * rates.batch_water_kg,
        bond_coat_kg=pool.surface_m2 * rates.bond_coat_kg_m2,
        debris_kg=_debris(strip * coats + taper / 2, off_mm),
        fill_m3=pool.volume_m3,
    )


def _debris(area_m2: float, thickness_mm: float) -> float:
    return float(debris_kg(area_m2=area_m2, thickness_mm=thickness_mm)) if area_m2 > 0 else 0.0
