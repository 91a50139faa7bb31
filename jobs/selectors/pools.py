"""What follows from a measured pool; nothing of it is stored."""

from __future__ import annotations

from typing import Any

from jobs.condition.quantities import PoolFigures
from jobs.models import Pool, Shape
from jobs.physics import geometry


def pool_shape(pool: Pool) -> Any:
    """The geometry of a pool; `ValueError` with a sentence where its measures make no pool."""
    profile = tuple((float(at), float(depth)) for at, depth in pool.profile)
    if pool.shape == Shape.OUTLINE:
        points = tuple((float(x), float(y)) for x, y in pool.points_m)
        return geometry.Outline(points_m=points, profile=profile, axis_deg=pool.axis_deg)
    if pool.shape == Shape.CIRCLE:
        return geometry.Circle(diameter_m=_needed("diameter", pool.length_m), profile=profile, axis_deg=pool.axis_deg)
    kinds = {
        Shape.RECTANGLE: geometry.Rectangle,
        Shape.ELLIPSE: geometry.Ellipse,
        Shape.STADIUM: geometry.Stadium,
    }
    return kinds[Shape(pool.shape)](
        length_m=_needed("length", pool.length_m),
        width_m=_needed("width", pool.width_m),
        profile=profile,
        axis_deg=pool.axis_deg,
    )


def pool_figures(pool: Pool) -> PoolFigures:
    """Surface to be coated, volume and perimeter [m2, m3, m]."""
    shape = pool_shape(pool)
    extras = {
        "cove_radius_m": pool.cove_radius_m,
        "steps": tuple((float(w), float(r), float(t), int(n)) for w, r, t, n in pool.steps),
        "benches": tuple((float(a), float(d), float(h)) for a, d, h in pool.benches),
    }
    surface = geometry.surface_m2(shape, tile_band_m=pool.tile_band_m, fittings_m2=pool.fittings_m2, **extras)
    return PoolFigures(
        surface_m2=float(surface),
        volume_m3=float(geometry.volume_m3(shape, **extras)),
        plan_m2=float(shape.plan_m2),
        perimeter_m=float(shape.perimeter_m),
        deepest_m=max(float(depth) for _, depth in pool.profile),
    )


def _needed(what: str, value: float | None) -> float:
    if value is None:
        raise ValueError(f"{what} is missing; allowed is 1 to 100 m.")
    return value
