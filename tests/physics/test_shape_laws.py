"""Laws of pool shapes: turned, moved, mirrored, scaled and cut, they stay what they are."""

from __future__ import annotations

import itertools
import math
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.physics.geometry import (
    Circle,
    Ellipse,
    Outline,
    Pool,
    Rectangle,
    Stadium,
    sanity_line,
    surface_m2,
    tile_band_m2,
    volume_m3,
)
from jobs.physics.outlines import (
    arc_points_m,
    area_from_offsets_m2,
    ellipse_perimeter_m,
    hopper_surface_m2,
    hopper_volume_m3,
    kidney_area_rule_m2,
    kidney_points_m,
    kidney_volume_rule_m3,
)
from tests.physics.laws import LAW, between

Points = tuple[tuple[float, float], ...]


def figures(pool: Pool) -> list[float]:
    return [pool.plan_m2, pool.perimeter_m, pool.volume_m3, pool.floor_m2, pool.walls_m2]


def span_of(points: Points, axis_deg: float) -> float:
    along = np.asarray(points) @ [math.cos(math.radians(axis_deg)), math.sin(math.radians(axis_deg))]
    return float(np.ptp(along))


def profile_over(span: float, depths: list[float]) -> Points:
    return tuple(zip(map(float, np.linspace(0, span, len(depths))), depths, strict=True))


@st.composite
def outlines(draw: st.DrawFn) -> tuple[Points, list[float], float]:
    """Corners around a centre, depths at even stations, direction of the profile."""
    seeded = random.Random(draw(st.integers(0, 10**6)))
    count = draw(st.integers(3, 12))
    turns = sorted((n + seeded.uniform(0, 0.8)) / count * 2 * math.pi for n in range(count))
    reach = [seeded.uniform(2, 9) for _ in turns]
    points = tuple((r * math.cos(t), r * math.sin(t)) for r, t in zip(reach, turns, strict=True))
    depths = draw(st.lists(between(0.2, 4), min_size=2, max_size=5))
    return points, depths, draw(between(-180, 180))


def pool_of(points: Points, depths: list[float], axis_deg: float) -> Outline:
    return Outline(points, profile_over(span_of(points, axis_deg), depths), axis_deg)


def turned(points: Points, by_deg: float) -> Points:
    c, s = math.cos(math.radians(by_deg)), math.sin(math.radians(by_deg))
    return tuple((c * x - s * y, s * x + c * y) for x, y in points)


@LAW
@given(outlines(), between(-170, 170))
def test_turning_outline_and_profile_together_changes_nothing(
    shape: tuple[Points, list[float], float], by_deg: float
) -> None:
    points, depths, axis = shape
    axis /= 2
    assert figures(pool_of(turned(points, by_deg), depths, axis + by_deg)) == pytest.approx(
        figures(pool_of(points, depths, axis)), rel=1e-9
    )


@LAW
@given(outlines(), between(-500, 500), between(-500, 500))
def test_moving_the_outline_changes_nothing(shape: tuple[Points, list[float], float], dx: float, dy: float) -> None:
    points, depths, axis = shape
    moved = tuple((x + dx, y + dy) for x, y in points)
    assert figures(pool_of(moved, depths, axis)) == pytest.approx(figures(pool_of(*shape)), rel=1e-8)


@LAW
@given(outlines(), st.integers(0, 11))
def test_the_order_of_the_points_changes_nothing(shape: tuple[Points, list[float], float], first: int) -> None:
    points, depths, axis = shape
    at = first % len(points)
    again = points[at:] + points[:at]
    assert figures(pool_of(again, depths, axis)) == pytest.approx(figures(pool_of(*shape)), rel=1e-12)
    assert figures(pool_of(again[::-1], depths, axis)) == pytest.approx(figures(pool_of(*shape)), rel=1e-12)
    closed = (*again, again[0], again[0])
    assert figures(pool_of(closed, depths, axis)) == pytest.approx(figures(pool_of(*shape)), rel=1e-12)


@LAW
@given(outlines(), between(0.3, 1.5))
def test_areas_grow_with_the_square_and_volumes_with_the_cube(
    shape: tuple[Points, list[float], float], k: float
) -> None:
    points, depths, axis = shape
    grown = tuple((k * x, k * y) for x, y in points)
    powers = [2, 1, 3, 2, 2]
    expected = [value * k**power for value, power in zip(figures(pool_of(*shape)), powers, strict=True)]
    assert figures(pool_of(grown, [k * depth for depth in depths], axis)) == pytest.approx(expected, rel=1e-9)


@LAW
@given(outlines())
def test_a_profile_read_from_the_other_end_is_the_same_floor(shape: tuple[Points, list[float], float]) -> None:
    points, depths, axis = shape
    other = axis - 180 if axis > 0 else axis + 180
    assert figures(pool_of(points, depths[::-1], other)) == pytest.approx(figures(pool_of(*shape)), rel=1e-9)


@LAW
@given(outlines())
def test_a_station_on_the_slope_changes_nothing(shape: tuple[Points, list[float], float]) -> None:
    points, depths, axis = shape
    finer = [depths[0]]
    for d0, d1 in itertools.pairwise(depths):
        finer += [(d0 + d1) / 2, d1]
    assert figures(pool_of(points, finer, axis)) == pytest.approx(figures(pool_of(*shape)), rel=1e-9)


@LAW
@given(outlines())
def test_water_and_floor_lie_between_their_bounds(shape: tuple[Points, list[float], float]) -> None:
    pool = pool_of(*shape)
    assert min(shape[1]) * pool.plan_m2 <= pool.volume_m3 * (1 + 1e-9)
    assert pool.volume_m3 <= max(shape[1]) * pool.plan_m2 * (1 + 1e-9)
    assert pool.floor_m2 >= pool.plan_m2 * (1 - 1e-12)
    assert min(shape[1]) * pool.perimeter_m <= pool.walls_m2 * (1 + 1e-9)
    assert pool.perimeter_m**2 >= 4 * math.pi * pool.plan_m2  # no outline beats the circle


@LAW
@given(between(2, 30), between(2, 15), st.lists(between(0.2, 4), min_size=2, max_size=5), between(-180, 180))
def test_a_rectangle_is_the_outline_of_its_corners(long: float, wide: float, depths: list[float], axis: float) -> None:
    corners = ((0.0, 0.0), (long, 0.0), (long, wide), (0.0, wide))
    profile = profile_over(span_of(corners, axis), depths)
    assert figures(Rectangle(long, wide, profile, axis)) == pytest.approx(figures(Outline(corners, profile, axis)))


@LAW
@given(between(2, 15), st.lists(between(0.2, 4), min_size=2, max_size=5), between(-180, 180))
def test_round_shapes_of_equal_axes_are_circles(wide: float, depths: list[float], axis: float) -> None:
    profile = profile_over(wide, depths)
    circle = figures(Circle(wide, profile, axis))
    assert figures(Ellipse(wide, wide, profile, axis)) == pytest.approx(circle)
    assert figures(Stadium(wide, wide, profile, axis)) == pytest.approx(circle)
    assert circle[0] == pytest.approx(math.pi * wide**2 / 4, rel=1e-12)
    assert circle[1] == pytest.approx(math.pi * wide, rel=1e-12)


@LAW
@given(between(4, 30), between(2, 4), between(0.5, 2), between(0.5, 3))
def test_two_halves_hold_what_the_whole_holds(long: float, wide: float, shallow: float, deep: float) -> None:
    """Cut along the length: each half has half the water and half the floor, and the cut is a new wall."""
    profile = ((0, shallow), (long, deep))
    whole, half = Rectangle(long, wide, profile), Rectangle(long, wide / 2, profile)
    assert 2 * half.volume_m3 == pytest.approx(whole.volume_m3)
    assert 2 * half.floor_m2 == pytest.approx(whole.floor_m2)
    assert 2 * half.walls_m2 - whole.walls_m2 == pytest.approx(long * (shallow + deep))


@LAW
@given(between(2, 20), between(0.25, 1))
def test_the_perimeter_of_an_ellipse_agrees_with_ramanujan(half: float, aspect: float) -> None:
    pool = Ellipse(2 * half, 2 * half * aspect, ((0, 1), (2 * half, 1)))
    assert pool.perimeter_m == pytest.approx(ellipse_perimeter_m(half, half * aspect), rel=3e-6)


def test_a_pool_is_a_value_however_its_numbers_were_given() -> None:
    """Lists, tuples and arrays make equal pools that can be keys, and later changes to a list do not reach in."""
    corners, profile = [[0, 0], [10, 0], [10, 5], [0, 5], [0, 0]], [[0, 1], [10, 2]]
    first = Outline(corners, profile)  # type: ignore[arg-type]  # wider than the declared kind
    second = Outline(np.array(corners[:4]), np.array(profile))
    profile[1][1] = 5
    assert first == second
    assert len({first, second}) == 1
    assert first.volume_m3 == pytest.approx(75)


# what builders add and take off


POOL = Rectangle(10, 5, ((0, 1.0), (4, 1.2), (10, 2.5)))


@LAW
@given(between(0, 0.9), between(0, 0.5), between(0, 3))
def test_band_cove_and_fittings_come_off(band: float, radius: float, fittings: float) -> None:
    left = surface_m2(POOL, tile_band_m=band, cove_radius_m=radius, fittings_m2=fittings)
    expected = POOL.surface_m2 - 30 * band + (math.pi / 2 - 2) * radius * 30 - fittings
    assert left == pytest.approx(expected)
    assert volume_m3(POOL, cove_radius_m=radius) == pytest.approx(POOL.volume_m3 - (1 - math.pi / 4) * radius**2 * 30)


def test_steps_and_benches_add_their_fronts_and_take_their_water() -> None:
    steps, benches = ((1.5, 0.25, 0.3, 3),), ((2.0, 0.5, 0.6),)
    added = surface_m2(POOL, steps=steps, benches=benches) - surface_m2(POOL)
    assert added == pytest.approx(3 * 0.25 * 1.5 + 2.0 * 0.6)
    taken = volume_m3(POOL) - volume_m3(POOL, steps=steps, benches=benches)
    assert taken == pytest.approx(1.5 * 0.3 * (0.25 + 0.5 + 0.75) + 2.0 * 0.5 * 0.6)


def test_one_set_of_measurements_serves_surface_and_volume() -> None:
    measured = {"tile_band_m": 0.15, "cove_radius_m": 0.1, "steps": ((1, 0.3, 0.3, 2),), "fittings_m2": 0.5}
    assert surface_m2(POOL, **measured) > 0  # type: ignore[arg-type]  # keywords of mixed kinds
    assert volume_m3(POOL, **measured) == volume_m3(  # type: ignore[arg-type]  # keywords of mixed kinds
        POOL, cove_radius_m=0.1, steps=((1, 0.3, 0.3, 2),)
    )


def test_the_tile_band_is_no_higher_than_the_wall_at_a_beach() -> None:
    beach = Rectangle(10, 5, ((0, 0), (10, 2)))
    assert tile_band_m2(beach, 0) == 0
    # sides rise to the band over 1.5 m, then keep its height; the deep end has all of it, the beach none
    assert tile_band_m2(beach, 0.3) == pytest.approx(2 * (1.5 * 0.15 + 8.5 * 0.3) + 5 * 0.3)
    assert tile_band_m2(POOL, 0.3) == pytest.approx(0.3 * POOL.perimeter_m)


def test_the_sanity_line_says_both_figures() -> None:
    line = sanity_line(POOL)
    assert f"{POOL.surface_m2:.1f} m2" in line
    assert f"{POOL.plan_m2 + POOL.perimeter_m * POOL.mean_depth_m:.1f} m2" in line


# from tape and notebook


@LAW
@given(between(0.5, 20), between(-360, 360), between(1, 350), between(0.0001, 0.02))
def test_no_chord_strays_farther_than_stated(radius: float, start: float, sweep: float, error: float) -> None:
    points = np.asarray(arc_points_m((3.0, -2.0), radius, start, start + sweep, error))
    assert np.hypot(*(points - [3, -2]).T) == pytest.approx(np.full(len(points), radius))
    middles = (points[1:] + points[:-1]) / 2
    assert (radius - np.hypot(*(middles - [3, -2]).T)).max() <= error * (1 + 1e-6)


@LAW
@given(between(3, 8), between(2, 7), between(0.05, 1), between(1, 8))
def test_a_kidney_is_as_long_and_as_wide_as_measured(wide: float, narrow: float, more: float, notch: float) -> None:
    long = max(wide, narrow) + (wide + narrow - max(wide, narrow)) * (0.5 + more / 2)
    points = kidney_points_m(wide, narrow, long, notch)
    pool = Outline(points, ((0, 1), (long, 1)))
    assert pool.span_m == pytest.approx(long, abs=0.005)
    across = Outline(points, ((0, 1), (span_of(points, 90), 1)), 90)
    assert across.span_m == pytest.approx(max(wide, narrow), abs=0.3 * max(wide, narrow))
    assert pool.plan_m2 < long * max(wide, narrow)
    finer = Outline(kidney_points_m(wide, narrow, long, notch, 0.0001), ((0, 1), (long, 1)))
    assert pool.plan_m2 == pytest.approx(finer.plan_m2, rel=0.002)


def test_the_kidney_rules_of_thumb_disagree_as_stated() -> None:
    """0.45 (A + B) L for the area implies 6.7 US gallons, not 7.0, for each ft3 of length x width x depth."""
    area, volume = kidney_area_rule_m2(5, 4, 9), kidney_volume_rule_m3(9, 4.5, 1.4)
    assert volume / (area * 1.4) == pytest.approx(7.0 / (0.9 * 1728 / 231), rel=1e-9)


@LAW
@given(st.lists(between(0.1, 12), min_size=3, max_size=15), between(0.2, 4))
def test_offsets_of_a_straight_pool_give_its_area(widths: list[float], spacing: float) -> None:
    count = len(widths) - 1 + len(widths) % 2
    even = [widths[0]] * count
    expected = widths[0] * spacing * (count - 1)
    assert area_from_offsets_m2(even, spacing) == pytest.approx(expected)
    assert area_from_offsets_m2(even, spacing, "trapezoid") == pytest.approx(expected)


@LAW
@given(between(1, 12), between(1, 12), between(0.2, 3))
def test_a_hopper_without_slopes_is_a_box(long: float, wide: float, deep: float) -> None:
    assert hopper_volume_m3(long, wide, long, wide, deep) == pytest.approx(long * wide * deep)
    assert hopper_surface_m2(long, wide, long, wide, deep) == pytest.approx(long * wide + 2 * (long + wide) * deep)
    assert hopper_volume_m3(long, wide, 0, 0, deep) == pytest.approx(long * wide * deep / 3)  # a pyramid
