"""A pool cut lengthwise, to scale: floor, tile band, cove, steps and benches."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from jobs.drawing.svg import Point, Units, drawing, label, line, measure_line, path, said
from jobs.physics.basin import Basin

WIDE_PX: Final = 520.0
LEFT: Final = 46.0
TOP: Final = 36.0
RIGHT: Final = 78.0
BELOW: Final = 60.0
COVE_STEPS: Final = 8
LABEL_GAP_PX: Final = 52.0
Placed = Callable[[Point], Point]
"""Where a point of the section [m] lies on the drawing [px]."""


@dataclass(frozen=True)
class Fittings:
    """What is built into the pool [m]: flights (width, rise, tread, count), benches (length, depth, height)."""

    tile_band_m: float = 0.3
    cove_radius_m: float = 0.0
    steps: tuple[tuple[float, float, float, int], ...] = ()
    benches: tuple[tuple[float, float, float], ...] = ()


def side_view(pool: Basin, built: Fittings, *, units: Units, name: str, title: str, desc: str) -> str:
    """The side view as SVG, depth and length at one scale.

    The place of steps and benches along the pool is not measured: steps are drawn dashed at the start of the
    profile, benches at its end.
    """
    span = pool.span_m
    stations, depths = pool.stations_and_depths
    deepest = float(depths.max())
    scale = WIDE_PX / span
    floor = [(min(max(s, 0.0), span), d) for s, d in zip(stations.tolist(), depths.tolist(), strict=True)]
    floor[0], floor[-1] = (0.0, floor[0][1]), (span, floor[-1][1])

    def at(point: Point) -> Point:
        return LEFT + point[0] * scale, TOP + point[1] * scale

    rounded = _with_cove(floor, built.cove_radius_m)
    marks = [
        path([at((0.0, 0.0)), *(at(p) for p in rounded), at((span, 0.0))], "water", closed=True),
        path([at((0.0, 0.0)), *(at(p) for p in rounded), at((span, 0.0))], "shell"),
        *_tile_band(floor, built.tile_band_m, span, at),
        line(at((0.0, 0.0)), at((span, 0.0)), "level"),
        *_depths(floor, units, at),
        *_steps(floor, built.steps, span, at),
        *_benches(floor, built.benches, span, at),
    ]
    base = TOP + deepest * scale + 34
    marks.append(measure_line((LEFT, base), (LEFT + WIDE_PX, base), said(span, units)))
    marks.append(
        measure_line((LEFT + WIDE_PX + 22, TOP), (LEFT + WIDE_PX + 22, TOP + deepest * scale), said(deepest, units))
    )
    height = TOP + deepest * scale + BELOW
    return drawing(name, LEFT + WIDE_PX + RIGHT, height, title=title, desc=desc, marks=marks)


def _with_cove(floor: Sequence[Point], radius: float) -> list[Point]:
    """The floor line with the corners at both walls rounded; tangent to the wall and, nearly, to the floor."""
    (x0, d0), (x1, d1) = floor[0], floor[-1]
    room = min(radius, d0, d1, (x1 - x0) / 4)
    if room <= 0:
        return list(floor)
    turns = [math.pi / 2 * step / COVE_STEPS for step in range(COVE_STEPS + 1)]
    first = [(x0 + room * (1 - math.cos(t)), d0 - room * (1 - math.sin(t))) for t in turns]
    last = [(x1 - room * (1 - math.cos(t)), d1 - room * (1 - math.sin(t))) for t in reversed(turns)]
    inner = [point for point in floor[1:-1] if x0 + room < point[0] < x1 - room]
    return [*first, *inner, *last]


def _tile_band(floor: Sequence[Point], band: float, span: float, place: Placed) -> list[str]:
    if band <= 0:
        return []
    marks = [line(place((0.0, band)), place((span, band)), "tile-line")]
    for x, depth in (floor[0], floor[-1]):
        low = min(band, depth)
        marks.append(line(place((x, 0.0)), place((x, low)), "tile"))
    return marks


def _depths(floor: Sequence[Point], units: Units, place: Placed) -> list[str]:
    marks: list[str] = []
    last = -LABEL_GAP_PX
    for x, depth in floor:
        foot = place((x, depth))
        if foot[0] - last < LABEL_GAP_PX:
            continue
        last = foot[0]
        anchor = "start" if x == 0.0 else "end" if (x, depth) == floor[-1] else "middle"
        marks += [
            line(place((x, 0.0)), foot, "station"),
            label((foot[0], foot[1] + 17), said(depth, units), anchor=anchor),
        ]
    return marks


def _depth_at(floor: Sequence[Point], x: float) -> float:
    for (x0, d0), (x1, d1) in pairwise(floor):
        if x0 <= x <= x1:
            return d0 + (d1 - d0) * (x - x0) / (x1 - x0)
    return floor[-1][1]


def _steps(
    floor: Sequence[Point], flights: Sequence[tuple[float, float, float, int]], span: float, place: Placed
) -> list[str]:
    """Each flight as the stack that the volume counts: the highest step at the wall."""
    marks = []
    for _, rise, tread, count in flights:
        points: list[Point] = []
        bottom = _depth_at(floor, min(tread * count, span))
        for number in range(int(count)):
            height = bottom - rise * (count - number)
            points += [(tread * number, height), (tread * (number + 1), height)]
        points.append((tread * count, bottom))
        marks.append(path([place((min(x, span), max(d, 0.0))) for x, d in points], "built"))
    return marks


def _benches(
    floor: Sequence[Point], benches: Sequence[tuple[float, float, float]], span: float, place: Placed
) -> list[str]:
    marks = []
    for _, depth, height in benches:
        x = max(0.0, span - depth)
        bottom = _depth_at(floor, x)
        seat = max(0.0, bottom - height)
        marks.append(path([place((x, bottom)), place((x, seat)), place((span, seat))], "built"))
    return marks
