"""A pool from above, to scale, on a grid, with the lines on which its depth was measured."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
from shapely.geometry import LineString, Polygon

from jobs.drawing.svg import Point, Units, drawing, grid_step_m, label, line, measure_line, number, path, said
from jobs.physics.basin import Basin
from jobs.physics.boundary import Arc, Piece

LONGEST_PX: Final = 520.0
MARGIN: Final = (46.0, 34.0, 78.0, 44.0)  # left, top, right, bottom
ARC_STEPS: Final = 96
LABEL_GAP_PX: Final = 46.0

Placed = Callable[[Point], Point]
"""Where a point of the pool [m] lies on the drawing [px]."""


def top_view(pool: Basin, *, units: Units, name: str, title: str, desc: str) -> str:
    """The top view as SVG.

    Parameters
    ----------
    pool : any shape of :mod:`jobs.physics.geometry`; drawn with x to the right and y upward [m]
    units : of the labels and the grid (5 ft or 1 m)
    name : prefix of the ids, unique on a page
    title, desc : what a reader who cannot see the drawing is told
    """
    corners = outline_points_m(pool)
    x, y = np.asarray(corners).T
    low, high = (float(x.min()), float(y.min())), (float(x.max()), float(y.max()))
    across, up = high[0] - low[0], high[1] - low[1]
    scale = LONGEST_PX / max(across, up)
    left, top, right, bottom = MARGIN

    def at(point: Point) -> Point:
        return left + (point[0] - low[0]) * scale, top + (high[1] - point[1]) * scale

    width, height = left + across * scale + right, top + up * scale + bottom
    below, beside = top + up * scale + 30, left + across * scale + 22
    marks = [
        path([at(point) for point in corners], "water", closed=True),
        *_grid(low, high, units, at),
        path([at(point) for point in corners], "shell", closed=True),
        *_stations(pool, corners, units, at),
        measure_line((left, below), (left + across * scale, below), said(across, units)),
        measure_line((beside, top), (beside, top + up * scale), said(up, units)),
    ]
    return drawing(name, width, height, title=title, desc=desc, marks=marks)


def outline_points_m(pool: Basin) -> tuple[Point, ...]:
    """Points around the pool [m], counter-clockwise, arcs as short edges."""
    return tuple(point for piece in pool.boundary for point in _points(piece))


def _points(piece: Piece) -> list[Point]:
    if not isinstance(piece, Arc):
        return [piece.start]
    count = max(8, round(ARC_STEPS * abs(piece.end - piece.start) / (2 * math.pi)))
    turns = np.linspace(piece.start, piece.end, count, endpoint=False)
    (x, y), across, up = piece.centre, piece.half_x, piece.half_y
    return [(float(x + across * np.cos(t)), float(y + up * np.sin(t))) for t in turns]


def _grid(low: Point, high: Point, units: Units, place: Placed) -> list[str]:
    step = grid_step_m(units)
    marks = []
    for number_x in range(math.floor((high[0] - low[0]) / step + 1e-9) + 1):
        x = low[0] + number_x * step
        marks.append(line(place((x, low[1])), place((x, high[1])), "grid"))
    for number_y in range(math.floor((high[1] - low[1]) / step + 1e-9) + 1):
        y = low[1] + number_y * step
        marks.append(line(place((low[0], y)), place((high[0], y)), "grid"))
    return marks


def _stations(pool: Basin, corners: Sequence[Point], units: Units, place: Placed) -> list[str]:
    """Dashed lines across the pool where the depth was measured, each with its depth."""
    shape = Polygon(corners).buffer(0)
    turn = math.radians(pool.axis_deg)
    along, across = (math.cos(turn), math.sin(turn)), (-math.sin(turn), math.cos(turn))
    start = min(along[0] * x + along[1] * y for x, y in corners)
    reach = 2 * max(abs(v) for point in corners for v in point) + 10
    marks, last = [], None
    stations, depths = pool.stations_and_depths
    for distance, depth in zip(stations.tolist(), depths.tolist(), strict=True):
        inside = min(max(distance, 0.02 * pool.span_m), 0.98 * pool.span_m)
        foot = (along[0] * (start + inside), along[1] * (start + inside))
        ends = [(foot[0] + side * reach * across[0], foot[1] + side * reach * across[1]) for side in (-1, 1)]
        cut = shape.intersection(LineString(ends))
        pieces = [piece for piece in getattr(cut, "geoms", [cut]) if piece.geom_type == "LineString"]
        if 0.02 * pool.span_m < distance < 0.98 * pool.span_m:
            marks += [line(place(piece.coords[0]), place(piece.coords[-1]), "station") for piece in pieces]
        if not pieces:
            continue
        middle = max(pieces, key=lambda piece: piece.length).interpolate(0.5, normalized=True)
        spot = _inward(place((middle.x, middle.y)), place, distance, pool.span_m, along)
        if last is None or math.dist(spot, last) >= LABEL_GAP_PX:
            marks.append(label((spot[0], spot[1] + 4), number(depth, units), kind="depth"))
            last = spot
    return marks


def _inward(spot: Point, place: Placed, distance: float, span: float, along: Point) -> Point:
    """Labels of the two ends move a little into the pool."""
    shift = 18.0 if distance < 0.05 * span else -18.0 if distance > 0.95 * span else 0.0
    return spot[0] + shift * along[0], spot[1] - shift * along[1]
