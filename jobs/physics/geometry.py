"""Pools of every shape, and how much surface and water they have.

Plain areas and volumes come from :class:`jobs.physics.basin.Basin`: exact for straight outlines, to the
last digits for round ones. What builders add and take off (tile band, cove, steps, benches, fittings) is in
:func:`surface_m2` and :func:`volume_m3`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from shapely.geometry import LinearRing

from jobs.physics.basin import GREATEST_DEPTH_M, GREATEST_LENGTH_M, Basin, Profile
from jobs.physics.boundary import Arc, Edge, Piece, Point, edges_around, signed_area_m2
from jobs.physics.validity import in_range


@dataclass(frozen=True)
class Rectangle(Basin):
    """A rectangular pool, its length along x.

    Parameters
    ----------
    length_m, width_m : [m], 0.5 to 100
    profile : pairs (distance, depth) [m]: distance along the axis from the least projection of the pool,
        ascending from 0
        over the whole pool; depth from the water line, 0 to 8, linear in between
    axis_deg : direction of the profile, counter-clockwise from the length; 0 is along it

    Raises
    ------
    ValueError
        For a size or depth out of range, or a profile that does not ascend or does not span the pool.
    """

    length_m: float
    width_m: float
    profile: Profile
    axis_deg: float = 0.0

    def __post_init__(self) -> None:
        _size("length of the pool", self.length_m)
        _size("width of the pool", self.width_m)
        self.check_profile()

    @cached_property
    def boundary(self) -> tuple[Piece, ...]:
        long, wide = float(self.length_m), float(self.width_m)
        return edges_around(((0.0, 0.0), (long, 0.0), (long, wide), (0.0, wide)))


@dataclass(frozen=True)
class Ellipse(Basin):
    """An elliptical pool, its length along x; arguments and errors as :class:`Rectangle`."""

    length_m: float
    width_m: float
    profile: Profile
    axis_deg: float = 0.0

    def __post_init__(self) -> None:
        _size("length of the pool", self.length_m)
        _size("width of the pool", self.width_m)
        self.check_profile()

    @cached_property
    def boundary(self) -> tuple[Piece, ...]:
        half_x, half_y = float(self.length_m) / 2, float(self.width_m) / 2
        return (Arc((half_x, half_y), half_x, half_y, 0.0, 2 * np.pi),)


@dataclass(frozen=True)
class Circle(Basin):
    """A round pool; *diameter_m* [m] 0.5 to 100, else as :class:`Rectangle`."""

    diameter_m: float
    profile: Profile
    axis_deg: float = 0.0

    def __post_init__(self) -> None:
        _size("diameter of the pool", self.diameter_m)
        self.check_profile()

    @cached_property
    def boundary(self) -> tuple[Piece, ...]:
        radius = float(self.diameter_m) / 2
        return (Arc((radius, radius), radius, radius, 0.0, 2 * np.pi),)


@dataclass(frozen=True)
class Stadium(Basin):
    """A pool with straight sides and half-round ends, its length along x and not less than its width."""

    length_m: float
    width_m: float
    profile: Profile
    axis_deg: float = 0.0

    def __post_init__(self) -> None:
        _size("length of the pool", self.length_m)
        _size("width of the pool", self.width_m)
        if self.length_m < self.width_m:
            raise ValueError(
                f"length of the pool is {self.length_m:g} m; allowed is at least its width, {self.width_m:g} m."
            )
        self.check_profile()

    @cached_property
    def boundary(self) -> tuple[Piece, ...]:
        radius = float(self.width_m) / 2
        left, right, top = radius, float(self.length_m) - radius, float(self.width_m)
        right_end = Arc((right, radius), radius, radius, -np.pi / 2, np.pi / 2)
        left_end = Arc((left, radius), radius, radius, np.pi / 2, 3 * np.pi / 2)
        if left == right:
            return right_end, left_end
        return Edge((left, 0.0), (right, 0.0)), right_end, Edge((right, top), (left, top)), left_end


@dataclass(frozen=True)
class Outline(Basin):
    """A freeform pool from the corners of its outline.

    Parameters
    ----------
    points_m : pairs (x, y) [m] around the pool in either direction, at least 3, not crossing itself; a last
        point equal to
        the first is left out. Arcs and kidneys become points in :mod:`jobs.physics.outlines`.
    profile, axis_deg : as in :class:`Rectangle`; axis_deg counter-clockwise from x

    Raises
    ------
    ValueError
        For fewer than 3 points, an outline that crosses itself or is too small or large, or a bad profile.
    """

    points_m: Sequence[Point]
    profile: Profile
    axis_deg: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_m", self._corners)  # plain pairs, the doubles left out
        corners = np.asarray(self._corners)
        extent = float(np.ptp(corners, axis=0).max())
        _size("length of the outline", extent)
        if not LinearRing(self._corners).is_simple:
            raise ValueError("the outline crosses or touches itself; give its points in order.")
        if abs(signed_area_m2(self._corners)) < 0.1:
            raise ValueError("the outline encloses less than 0.1 m2; give its points in order.")
        self.check_profile()

    @cached_property
    def _corners(self) -> tuple[Point, ...]:
        table = np.asarray(self.points_m, dtype=np.float64)
        if table.ndim != 2 or table.shape[1] != 2:
            raise ValueError("the outline needs points of two numbers, x and y in metres.")
        in_range("point of the outline", table, -10_000, 10_000, "m")
        following = np.roll(table, -1, axis=0)
        kept = table[np.any(table != following, axis=1)]
        if len(kept) < 3:
            raise ValueError(f"the outline has {len(kept)} different points; allowed are 3 or more.")
        return tuple((float(x), float(y)) for x, y in kept)

    @cached_property
    def boundary(self) -> tuple[Piece, ...]:
        return edges_around(self._corners if signed_area_m2(self._corners) > 0 else self._corners[::-1])


def _size(quantity: str, value: float) -> None:
    in_range(quantity, value, 0.5, GREATEST_LENGTH_M, "m")


Pool = Rectangle | Circle | Ellipse | Stadium | Outline
Step = tuple[float, float, float, int]
Bench = tuple[float, float, float]


def surface_m2(
    pool: Pool,
    *,
    tile_band_m: float = 0.3,
    cove_radius_m: float = 0,
    steps: Sequence[Step] = (),
    benches: Sequence[Bench] = (),
    fittings_m2: float = 0,
) -> float:
    """Interior surface to plaster [m2]: floor and walls below the tile band, with steps and benches.

    ``floor + walls - loop min(depth, band) ds + (pi/2 - 2) r perimeter + sum(count rise width) + sum(length
    height) - fittings``. Treads and seats replace the floor under them; the wall behind a flight of steps
    is not taken off, which leaves a little more material than needed.

    Parameters
    ----------
    tile_band_m : [m], 0 to 1.5, height of the tile band below the water line
    cove_radius_m : [m], 0 to 1 and not more than the least wall, rounding between wall and floor
    steps : flights (width, rise, tread, count) [m, m, m, whole number]
    benches : (length, depth, height) [m], depth from front to wall
    fittings_m2 : [m2], skimmers, lights, drains: area that is not plastered

    Raises
    ------
    ValueError
        For a size out of range, or if nothing is left to plaster.
    """
    band = float(in_range("height of the tile band", tile_band_m, 0, 1.5, "m"))
    radius = _cove(pool, cove_radius_m)
    _check_steps(steps, benches)
    fittings = float(in_range("area of fittings", fittings_m2, 0, 1000, "m2"))
    rounded = (np.pi / 2 - 2) * radius * pool.perimeter_m
    built = sum(count * rise * width for width, rise, _, count in steps)
    built += sum(length * height for length, _, height in benches)
    left = pool.surface_m2 - tile_band_m2(pool, band) + rounded + built - fittings
    if left <= 0:
        raise ValueError(f"surface left to plaster is {left:.2f} m2; check the tile band and the fittings.")
    return float(left)


def tile_band_m2(pool: Pool, tile_band_m: float = 0.3) -> float:
    """Area of the tile band [m2], where the wall is lower only as high as the wall: ``loop min(depth, band) ds``.

    Raises
    ------
    ValueError
        For a band outside 0 to 1.5 m.
    """
    band = float(in_range("height of the tile band", tile_band_m, 0, 1.5, "m"))
    stations, depths = pool.stations_and_depths
    crossing = [
        s0 + (band - d0) / (d1 - d0) * (s1 - s0)
        for s0, s1, d0, d1 in zip(stations[:-1], stations[1:], depths[:-1], depths[1:], strict=True)
        if (d0 - band) * (d1 - band) < 0
    ]
    x, _, ds = pool.samples_m(np.concatenate((stations, crossing)))
    return float(np.minimum(pool.depth_at_m(x), band) @ ds)


def volume_m3(
    pool: Pool,
    *,
    tile_band_m: float = 0.3,
    cove_radius_m: float = 0,
    steps: Sequence[Step] = (),
    benches: Sequence[Bench] = (),
    fittings_m2: float = 0,
) -> float:
    """Water to the water line [m3], less cove, steps and benches.

    ``V - (1 - pi/4) r^2 perimeter - sum(width rise tread n (n + 1) / 2) - sum(length depth height)``. The
    arguments are those of :func:`surface_m2`, so that one set of measurements serves both; tile band and
    fittings take no water.

    Raises
    ------
    ValueError
        For a size out of range, or if no water is left.
    """
    in_range("height of the tile band", tile_band_m, 0, 1.5, "m")
    in_range("area of fittings", fittings_m2, 0, 1000, "m2")
    radius = _cove(pool, cove_radius_m)
    _check_steps(steps, benches)
    built = sum(width * rise * tread * count * (count + 1) / 2 for width, rise, tread, count in steps)
    built += sum(length * depth * height for length, depth, height in benches)
    left = pool.volume_m3 - (1 - np.pi / 4) * radius**2 * pool.perimeter_m - built
    if left <= 0:
        raise ValueError(f"volume left for water is {left:.2f} m3; check the steps and the benches.")
    return float(left)


def sanity_line(pool: Pool) -> str:
    """The surface beside the rule of thumb 'area of the water + perimeter x mean depth', in one sentence [CP]."""
    rule = pool.plan_m2 + pool.perimeter_m * pool.mean_depth_m
    share = 100 * (rule / pool.surface_m2 - 1)
    return (
        f"Floor and walls are {pool.surface_m2:.1f} m2; the rule of thumb, water area plus perimeter times mean "
        f"depth, gives {rule:.1f} m2 ({share:+.1f} %)."
    )


def _cove(pool: Pool, cove_radius_m: float) -> float:
    radius = float(in_range("radius of the cove", cove_radius_m, 0, 1, "m"))
    shallowest = float(pool.depth_at_m(np.linspace(0, pool.span_m, 201)).min())
    if radius > max(shallowest, 0):
        raise ValueError(f"radius of the cove is {radius:g} m; allowed is 0 to the least depth, {shallowest:g} m.")
    return radius


def _check_steps(steps: Sequence[Step], benches: Sequence[Bench]) -> None:
    for width, rise, tread, count in steps:
        in_range("width of the steps", width, 0.1, 50, "m")
        in_range("rise of a step", rise, 0.02, 1, "m")
        in_range("tread of a step", tread, 0.05, 5, "m")
        in_range("number of steps", count, 1, 40, "")
        if count != int(count):
            raise ValueError(f"number of steps is {count:g}; allowed are whole numbers from 1 to 40.")
    for length, depth, height in benches:
        in_range("length of the bench", length, 0.1, 200, "m")
        in_range("depth of the bench from front to wall", depth, 0.05, 5, "m")
        in_range("height of the bench", height, 0.05, GREATEST_DEPTH_M, "m")
