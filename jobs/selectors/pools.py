"""What follows from a measured pool; nothing of it is stored."""

from __future__ import annotations

from typing import Any

from jobs.condition.quantities import PoolFigures
from jobs.models import Pool, Shape
from jobs.physics import geometry


def pool_shape(pool: Pool) -> Any:
    """The geometry of a pool; `ValueError` with a sentence where its measures make no pool."""
    profile = _rows("the profile", pool.profile, ("distance", "depth"))
    if pool.shape == Shape.OUTLINE:
        points = _rows("the outline", pool.points_m, ("x", "y"))
        return geometry.Outline(points_m=points, profile=profile, axis_deg=pool.axis_deg)
    if pool.shape == Shape.CIRCLE:
        return geometry.Circle(diameter_m=_needed("diameter", pool.length_m), profile=profile, axis_deg=pool.axis_deg)
    kinds: dict[Shape, Any] = {
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
    extras: dict[str, Any] = {
        "cove_radius_m": pool.cove_radius_m,
        "steps": _rows("the steps", pool.steps, ("width", "rise", "tread", "count")),
        "benches": _rows("the benches", pool.benches, ("length", "depth", "height")),
    }
    surface = geometry.surface_m2(shape, tile_band_m=pool.tile_band_m, fittings_m2=pool.fittings_m2, **extras)
    return PoolFigures(
        surface_m2=float(surface),
        volume_m3=float(geometry.volume_m3(shape, **extras)),
        plan_m2=float(shape.plan_m2),
        perimeter_m=float(shape.perimeter_m),
        deepest_m=max(float(depth) for _, depth in pool.profile),
    )


def _rows(what: str, rows: Any, names: tuple[str, ...]) -> tuple[Any, ...]:
    """Stored rows as plain numbers, each as long as its names; `ValueError` with a sentence where they are not."""
    try:
        found = tuple(tuple(float(value) for value in row) for row in rows)
    except (TypeError, ValueError):
        found = ((),)
    if any(len(row) != len(names) for row in found):
        raise ValueError(f"{what} is {rows!r:.80}; it needs rows of {len(names)} numbers: {', '.join(names)}.")
    return found


def _needed(what: str, value: float | None) -> float:
    if value is None:
        raise ValueError(f"{what} is missing; allowed is 1 to 100 m.")
    return value
