"""The measures of a pool: by dimensions, or an outline point by point; steps, benches, cove and tile band."""

from __future__ import annotations

import math
from typing import Any, Final

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from jobs.forms.measures import MeasureField, MeasuresForm, NumberField
from jobs.forms.rows import Column, RowsField
from jobs.models import Pool, Shape
from jobs.selectors.pools import pool_shape

END: Final = "end"
LONGEST_M: Final = 100.0
POINT_M: Final = 200.0
DEEPEST_M: Final = 8.0
SAME_M: Final = 0.005


class ShapeForm(MeasuresForm):
    """Shape and size seen from above; `measures` gives the fields of a `Pool`."""

    shape = forms.ChoiceField(label=_l("Shape"), choices=Shape.choices)
    length_m = MeasureField(
        "metres", low=0.5, high=LONGEST_M, decimals=2, required=False, label=_l("Length or diameter")
    )
    width_m = MeasureField("metres", low=0.5, high=LONGEST_M, decimals=2, required=False, label=_l("Width"))
    points_m = RowsField(
        columns=(Column("x", "metres", -POINT_M, POINT_M), Column("y", "metres", -POINT_M, POINT_M)),
        least=3,
        most=400,
        rows=9,
        required=False,
        label=_l("Points of the outline"),
        help_text=_l("One point a line, x then y, in order around the pool, from any corner of your grid."),
    )

    def clean(self) -> dict[str, Any]:
        kept = super().clean()
        shape = kept.get("shape")
        needed = {
            Shape.OUTLINE: ("points_m",),
            Shape.CIRCLE: ("length_m",),
        }.get(Shape(shape) if shape else Shape.RECTANGLE, ("length_m", "width_m"))
        for name in needed:
            if kept.get(name) in (None, []) and name not in self.errors:
                self.add_error(name, _needed(self.fields[name]))
        return kept

    @property
    def span_m(self) -> float | None:
        """Length of the pool along the axis of its floor profile, None while it is not known."""
        kept = self.cleaned_data
        turn = math.radians(kept.get("axis_deg") or 0.0)
        long, wide, cos, sin = kept.get("length_m"), kept.get("width_m"), abs(math.cos(turn)), abs(math.sin(turn))
        if kept.get("shape") == Shape.OUTLINE:
            along = [math.cos(turn) * x + math.sin(turn) * y for x, y in kept.get("points_m") or []]
            return max(along) - min(along) if along else None
        if long is None or (wide is None and kept.get("shape") != Shape.CIRCLE):
            return None
        wide = long if wide is None else wide
        spans = {
            Shape.CIRCLE: long,
            Shape.ELLIPSE: math.hypot(long * cos, wide * sin),
            Shape.STADIUM: (long - wide) * cos + wide,
        }
        return float(spans.get(Shape(kept["shape"]), long * cos + wide * sin))


class PoolForm(ShapeForm):
    """Everything that is measured of a pool."""

    profile = RowsField(
        columns=(Column(_l("distance"), "metres", 0.0, 2 * LONGEST_M), Column(_l("depth"), "metres", 0.0, DEEPEST_M)),
        least=2,
        most=60,
        words=(END,),
        rows=5,
        label=_l("Depths along the pool"),
        help_text=_l("One station a line: distance from the shallow end, then depth below the water line."),
    )
    axis_deg = NumberField(
        low=-180, high=180, unit="°", decimals=1, required=False, label=_l("Direction of the depths"),
        help_text=_l("0 along the length, 90 across; counter-clockwise."),
    )  # fmt: skip
    tile_band_m = MeasureField("metres", low=0.0, high=1.5, decimals=2, label=_l("Height of the tile band"))
    cove_radius_m = MeasureField(
        "metres", low=0.0, high=1.0, decimals=2, required=False, label=_l("Radius of the cove between wall and floor")
    )
    steps = RowsField(
        columns=(
            Column(_l("width"), "metres", 0.1, 50.0),
            Column(_l("rise"), "metres", 0.02, 1.0),
            Column(_l("tread"), "metres", 0.05, 5.0),
            Column(_l("number of steps"), "", 1, 40, whole=True),
        ),
        most=12,
        rows=2,
        required=False,
        label=_l("Flights of steps"),
        help_text=_l("One flight a line: width, rise, tread, number of steps."),
    )
    benches = RowsField(
        columns=(
            Column(_l("length"), "metres", 0.1, 200.0),
            Column(_l("depth from front to wall"), "metres", 0.05, 5.0),
            Column(_l("height"), "metres", 0.05, DEEPEST_M),
        ),
        most=12,
        rows=2,
        required=False,
        label=_l("Benches"),
        help_text=_l("One bench a line: length, depth from front to wall, height above the floor."),
    )
    fittings_m2 = MeasureField(
        "area", low=0.0, high=1000.0, decimals=1, required=False, label=_l("Area of skimmers, lights and drains")
    )
    built_year = NumberField(
        low=1850, high=2200, decimals=0, whole=True, required=False, label=_l("Year in which it was built")
    )

    @property
    def measures(self) -> dict[str, Any]:
        """The fields of a `Pool`, SI; call after `is_valid`."""
        kept = dict(self.cleaned_data)
        kept["profile"] = profile_with_end(kept["profile"], self.span_m)
        for name in ("axis_deg", "cove_radius_m", "fittings_m2"):
            kept[name] = kept[name] or 0.0
        return kept


def pool_initial(pool: Pool) -> dict[str, Any]:
    """What the form shows of a stored pool; its last depth is at the "end", wherever the outline moves that."""
    shown = {name: getattr(pool, name) for name in PoolForm.base_fields}
    try:
        span_m = float(pool_shape(pool).span_m)
    except ValueError:
        return shown
    profile = [list(row) for row in pool.profile]
    if profile and abs(float(profile[-1][0]) - span_m) < SAME_M:
        profile[-1][0] = END
    return {**shown, "profile": profile}


def profile_with_end(profile: list[list[Any]], span_m: float | None) -> list[list[float]]:
    """The profile with the word "end" replaced by the length of the pool along its axis."""
    end = 0.0 if span_m is None else round(span_m, 6)
    return [[end if at == END else at, depth] for at, depth in profile]


def _needed(field: forms.Field) -> str:
    if isinstance(field, MeasureField):
        return _("%(label)s is missing; allowed is %(allowed)s.") % {"label": field.label, "allowed": field.allowed}
    return _("%(label)s are missing; at least 3 lines of x and y.") % {"label": field.label}
