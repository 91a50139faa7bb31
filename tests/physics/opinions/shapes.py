"""shapely and adaptive quadrature on pools of every outline."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from typing import Any

import numpy as np
from scipy.integrate import quad
from scipy.special import ellipe
from shapely import affinity
from shapely.geometry import LineString, Polygon, box

from jobs.physics.geometry import Circle, Ellipse, Outline, Stadium
from tests.physics.opinions.opinion import Opinion


def _profile(random: np.random.Generator, span: float) -> tuple[tuple[float, float], ...]:
    inner = np.sort(random.uniform(0.05, 0.95, random.integers(0, 4))) * span
    stations = [0.0, *map(float, inner), span]
    return tuple((s, float(d)) for s, d in zip(stations, random.uniform(0.3, 4, len(stations)), strict=True))


def _star(random: np.random.Generator) -> list[tuple[float, float]]:
    corners = int(random.integers(3, 40))
    turn = np.sort(random.uniform(0, 2 * np.pi, corners))
    while np.diff(turn, append=turn[0] + 2 * np.pi).max() > 3 or np.diff(turn).min() < 0.01:
        turn = np.sort(random.uniform(0, 2 * np.pi, corners))
    reach = random.uniform(2, 12, corners)
    return [(float(r * np.cos(t)), float(r * np.sin(t))) for r, t in zip(reach, turn, strict=True)]


def _by_strips(points: Any, profile: Any, axis_deg: float) -> list[float]:
    """Plan, perimeter, volume, floor and walls by cutting the turned polygon into strips with shapely."""

    shape = affinity.rotate(Polygon(points), -axis_deg, origin=(0, 0))
    left, bottom, right, top = shape.bounds
    stations, depths = np.asarray(profile).T
    volume = floor = walls = 0.0
    for s0, s1, d0, d1 in zip(stations[:-1], stations[1:], depths[:-1], depths[1:], strict=True):
        edge0, edge1 = left + s0, right + 1 if s1 == stations[-1] else left + s1
        strip = box(edge0 - (1 if s0 == 0 else 0), bottom - 1, edge1, top + 1)
        slope, part = (d1 - d0) / (s1 - s0), shape.intersection(strip)
        volume += part.area * (d0 + slope * (part.centroid.x - left - s0))
        floor += part.area * np.hypot(1, slope)
        wall = shape.exterior.intersection(strip)
        if not wall.is_empty:
            walls += wall.length * (d0 + slope * (wall.centroid.x - left - s0))
    return [shape.area, shape.exterior.length, volume, floor, walls]


def outlines(seed: int, count: int) -> Opinion:

    random = np.random.default_rng(seed)
    ours: list[float] = []
    theirs: list[float] = []
    cases: list[str] = []
    while len(ours) < 5 * count:
        points, axis = _star(random), float(random.uniform(-180, 180))
        along = np.asarray(points) @ [np.cos(np.radians(axis)), np.sin(np.radians(axis))]
        profile = _profile(random, float(np.ptp(along)))
        assert Polygon(points).is_valid
        pool = Outline(points, profile, axis)
        ours += [pool.plan_m2, pool.perimeter_m, pool.volume_m3, pool.floor_m2, pool.walls_m2]
        theirs += _by_strips(points, profile, axis)
        names = ("plan", "perimeter", "volume", "floor", "walls")
        cases += [f"{name}, {len(points)} corners, axis {axis:.1f} deg" for name in names]
    why = "both exact; what is left is rounding"
    return Opinion("shapely", "outlines", "", np.array(ours), np.array(theirs), 1e-9, why, cases, relative=True)


def _ellipse_by_quadrature(a: float, b: float, profile: Any, axis_deg: float) -> list[float]:
    """Volume and floor from the chord across the axis, walls from the arc length, each by adaptive quadrature."""

    angle = np.radians(axis_deg)
    reach = float(np.hypot(a * np.cos(angle), b * np.sin(angle)))
    stations, depths = np.asarray(profile).T
    slopes = np.diff(depths) / np.diff(stations)

    def chord(t: float) -> float:
        return 2 * a * b * np.sqrt(max(0.0, reach**2 - t**2)) / reach**2

    def depth(t: float) -> float:
        return float(np.interp(t + reach, stations, depths))

    def slant(t: float) -> float:
        at = min(int(np.searchsorted(stations, t + reach, side="right")) - 1, len(slopes) - 1)
        return float(np.hypot(1, slopes[max(at, 0)]))

    def over(function: Callable[[float], float]) -> float:
        cuts = [0.0, *stations[1:-1], 2 * reach]
        parts = [quad(function, c0 - reach, c1 - reach, limit=400)[0] for c0, c1 in itertools.pairwise(cuts)]
        return float(sum(parts))

    def wall(t: float) -> float:
        along = a * np.cos(t) * np.cos(angle) + b * np.sin(t) * np.sin(angle)
        return depth(along) * float(np.hypot(a * np.sin(t), b * np.cos(t)))

    lead = np.arctan2(b * np.sin(angle), a * np.cos(angle))
    bends = np.arccos(np.clip((stations[1:-1] - reach) / reach, -1, 1))
    cuts_t = np.unique(np.concatenate(([lead, lead + np.pi, lead + 2 * np.pi], lead + bends, lead + 2 * np.pi - bends)))
    walls = sum(quad(wall, c0, c1, limit=400)[0] for c0, c1 in itertools.pairwise(cuts_t))
    perimeter = 4 * a * float(ellipe(1 - (b / a) ** 2))
    volume = over(lambda t: chord(t) * depth(t))
    floor = over(lambda t: chord(t) * slant(t))
    return [np.pi * a * b, perimeter, volume, floor, float(walls)]


def ellipses(seed: int, count: int) -> Opinion:
    random = np.random.default_rng(seed)
    ours: list[float] = []
    theirs: list[float] = []
    cases: list[str] = []
    for n in range(count):
        a = float(random.uniform(2, 12))
        b = a if n % 4 == 0 else float(random.uniform(0.25, 1)) * a
        axis = float(random.uniform(-90, 180))
        span = 2 * float(np.hypot(a * np.cos(np.radians(axis)), b * np.sin(np.radians(axis))))
        profile = _profile(random, span)
        pool = Circle(2 * a, profile, axis) if n % 4 == 0 else Ellipse(2 * a, 2 * b, profile, axis)
        ours += [pool.plan_m2, pool.perimeter_m, pool.volume_m3, pool.floor_m2, pool.walls_m2]
        theirs += _ellipse_by_quadrature(a, b, profile, axis)
        names = ("plan", "perimeter", "volume", "floor", "walls")
        cases += [f"{name}, {2 * a:.2f} x {2 * b:.2f} m, axis {axis:.1f} deg" for name in names]
    why = "what adaptive quadrature leaves"
    return Opinion(
        "scipy", "circles and ellipses", "", np.array(ours), np.array(theirs), 1e-7, why, cases, relative=True
    )


def stadiums(seed: int, count: int) -> Opinion:
    """Against a stadium drawn by shapely with 4096 edges to each quarter, cut into strips."""

    random = np.random.default_rng(seed)
    ours: list[float] = []
    theirs: list[float] = []
    cases: list[str] = []
    for _ in range(count):
        wide = float(random.uniform(2, 8))
        long, axis = wide + float(random.uniform(0.1, 12)), float(random.uniform(-180, 180))
        span = abs(np.cos(np.radians(axis))) * (long - wide) + wide
        profile = _profile(random, float(span))
        pool = Stadium(long, wide, profile, axis)
        drawn = LineString([(wide / 2, wide / 2), (long - wide / 2, wide / 2)]).buffer(wide / 2, quad_segs=4096)
        ours += [pool.plan_m2, pool.perimeter_m, pool.volume_m3, pool.floor_m2, pool.walls_m2]
        theirs += _by_strips(drawn.exterior.coords, profile, axis)
        names = ("plan", "perimeter", "volume", "floor", "walls")
        cases += [f"{name}, {long:.2f} x {wide:.2f} m, axis {axis:.1f} deg" for name in names]
    why = "the chords of the drawn one"
    return Opinion("shapely", "stadiums", "", np.array(ours), np.array(theirs), 1e-6, why, cases, relative=True)
