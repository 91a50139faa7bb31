"""The drawings are to scale: what is measured on the SVG is what was measured on the pool."""

from __future__ import annotations

import math
import re
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from jobs.drawing.chance_chart import ChanceDay, Mark, chance_chart
from jobs.drawing.side_view import Fittings, side_view
from jobs.drawing.top_view import top_view
from jobs.physics.geometry import Circle, Ellipse, Outline, Rectangle, Stadium

SVG = "{http://www.w3.org/2000/svg}"
BEAN = ((0, 2), (0.6, 0.8), (3.4, 0), (6.4, 0.9), (9.2, 0.9), (10.4, 3.4), (8.4, 5.4), (5.6, 4.4), (3, 4.9), (0.4, 3.4))


def read(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)


def points(svg: str, kind: str) -> list[tuple[float, float]]:
    path = next(p for p in read(svg).iter(f"{SVG}path") if p.get("class") == kind)
    numbers = [float(n) for n in re.findall(r"-?\d+\.?\d*", path.get("d", ""))]
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def top(pool, units="metric"):
    return top_view(pool, units=units, name="top", title="Top view", desc="A pool")


PLAIN = Fittings()


def side(pool, built=PLAIN, units="metric"):
    return side_view(pool, built, units=units, name="side", title="Side view", desc="A pool")


@pytest.mark.parametrize(
    ("pool", "area_m2", "long_m"),
    [
        (Rectangle(10.0, 5.0, ((0, 1), (10, 2))), 50.0, 10.0),
        (Circle(7.0, ((0, 1), (7, 2))), math.pi * 3.5**2, 7.0),
        (Ellipse(9.0, 5.0, ((0, 1), (9, 2))), math.pi * 4.5 * 2.5, 9.0),
        (Stadium(10.0, 4.0, ((0, 1), (10, 2))), 6.0 * 4.0 + math.pi * 4.0, 10.0),
        (Outline(BEAN, ((0, 1), (10.4, 2))), Polygon(BEAN).area, 10.4),
    ],
)
def test_the_area_on_the_top_view_is_the_area_of_the_water(pool, area_m2, long_m):
    """Areas by plane geometry, of the outline by shapely; the drawing rounds to a tenth of a pixel of 520."""
    drawn = points(top(pool), "water")
    across = [x for x, _ in drawn]
    scale = (max(across) - min(across)) / long_m
    assert Polygon(drawn).area / scale**2 == pytest.approx(area_m2, rel=2e-3)


@given(length=st.floats(2, 40), width=st.floats(1, 20), shallow=st.floats(0.3, 2), deep=st.floats(0.3, 4))
@settings(max_examples=40, deadline=None)
def test_the_side_view_has_one_scale_for_length_and_depth(length, width, shallow, deep):
    pool = Rectangle(length, width, ((0.0, shallow), (length, deep)))
    drawn = points(side(pool), "water")
    scale = (max(x for x, _ in drawn) - min(x for x, _ in drawn)) / length
    assert Polygon(drawn).area / scale**2 == pytest.approx(length * (shallow + deep) / 2, rel=0.02, abs=0.02)


def test_a_cove_takes_its_corner_from_the_side_view():
    """A quarter circle of radius r leaves (1 - pi/4) r2 out of each corner (plane geometry)."""
    pool = Rectangle(10.0, 5.0, ((0.0, 2.0), (10.0, 2.0)))
    scale = 52.0
    plain, rounded = (Polygon(points(side(pool, Fittings(cove_radius_m=r)), "water")).area for r in (0.0, 0.5))
    assert (plain - rounded) / scale**2 == pytest.approx(2 * (1 - math.pi / 4) * 0.25, rel=0.05)


def test_steps_are_drawn_with_their_rise_and_tread():
    pool = Rectangle(10.0, 5.0, ((0.0, 1.0), (10.0, 1.0)))
    drawn = points(side(pool, Fittings(steps=((2.0, 0.25, 0.3, 3),))), "built")
    runs = [b[0] - a[0] for a, b in pairwise(drawn) if b[0] != a[0]]
    rises = [b[1] - a[1] for a, b in pairwise(drawn) if b[0] == a[0]]
    assert [run / 52.0 for run in runs] == pytest.approx([0.3] * 3, abs=0.01)
    assert [rise / 52.0 for rise in rises] == pytest.approx([0.25] * 3, abs=0.01)


def test_each_drawing_says_what_it_is_and_labels_in_the_units_asked_for():
    pool = Rectangle(9.6, 4.8, ((0, 1.0), (4.3, 1.3), (9.6, 2.2)))
    for svg, words in ((top(pool, "us"), ("31.5 ft", "15.7 ft")), (side(pool, units="us"), ("31.5 ft", "7.2 ft"))):
        root = read(svg)
        assert root.get("role") == "img"
        assert {root.find(f"{SVG}{tag}").get("id") for tag in ("title", "desc")} == set(
            root.get("aria-labelledby").split()
        )
        said = [t.text for t in root.iter(f"{SVG}text")]
        assert set(words) <= set(said)
        assert "style=" not in svg


def test_words_from_outside_are_escaped():
    svg = top_view(Circle(7.0, ((0, 1), (7, 2))), units="us", name="t", title="a <b>", desc='"&"')
    assert read(svg).find(f"{SVG}title").text == "a <b>"


def test_columns_of_the_chart_stand_for_their_chances():
    days = [ChanceDay(0, 0.5), ChanceDay(3, 0.25), ChanceDay(9, 0.25)]
    svg = chance_chart(
        days, [Mark(0, "even chance by Mon"), Mark(9, "promised", "told")], [(0, "Mon")], title="t", desc="d"
    )
    bars = [r for r in read(svg).iter(f"{SVG}rect") if r.get("class") == "chance"]
    heights = [float(bar.get("height")) for bar in bars]
    assert heights == pytest.approx([96.0, 48.0, 48.0])
    lefts = [float(bar.get("x")) for bar in bars]
    assert (lefts[2] - lefts[0]) == pytest.approx(3 * (lefts[1] - lefts[0]), abs=0.3)
    rule = next(r for r in read(svg).iter(f"{SVG}line") if r.get("class") == "rule told")
    assert float(rule.get("x1")) > lefts[2]
