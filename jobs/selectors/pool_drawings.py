"""A measured pool with what follows from it: figures and the two drawings."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _

from jobs.condition.quantities import PoolFigures
from jobs.drawing.side_view import Fittings, side_view
from jobs.drawing.svg import Units
from jobs.drawing.top_view import top_view
from jobs.models import Pool
from jobs.people_units import said
from jobs.physics.geometry import sanity_line, tile_band_m2
from jobs.selectors.pools import pool_figures, pool_shape


@dataclass(frozen=True)
class PoolPicture:
    """Figures [m2, m3, m], mean depth [m], tile band [m2], the rule of thumb, and both drawings as SVG."""

    figures: PoolFigures
    mean_depth_m: float
    tile_band_m2: float
    rule_of_thumb: str
    top: str
    side: str


def pool_picture(pool: Pool, units: Units) -> PoolPicture:
    """Everything shown beside the measures of a pool.

    Raises
    ------
    ValueError
        Where the measures make no pool, in the words of the geometry.
    """
    figures = pool_figures(pool)
    shape = pool_shape(pool)
    built = Fittings(
        tile_band_m=pool.tile_band_m,
        cove_radius_m=pool.cove_radius_m,
        steps=tuple((float(w), float(r), float(t), int(n)) for w, r, t, n in pool.steps),
        benches=tuple((float(a), float(d), float(h)) for a, d, h in pool.benches),
    )
    size = {
        "shape": pool.get_shape_display(),
        "area": said("area", figures.plan_m2, units),
        "deep": said("metres", figures.deepest_m, units),
        "span": said("metres", shape.span_m, units),
    }
    return PoolPicture(
        figures=figures,
        mean_depth_m=float(shape.mean_depth_m),
        tile_band_m2=float(tile_band_m2(shape, pool.tile_band_m)),
        rule_of_thumb=sanity_line(shape),
        top=top_view(
            shape,
            units=units,
            name="top",
            title=_("Top view to scale"),
            desc=_("Seen from above (%(shape)s), %(area)s, with the lines on which the depth was measured.") % size,
        ),
        side=side_view(
            shape,
            built,
            units=units,
            name="side",
            title=_("Side view to scale"),
            desc=_("The floor over %(span)s, up to %(deep)s deep, with tile band, cove, steps and benches.") % size,
        ),
    )
