"""The fan of a band over time: steps, edges, words that do not touch."""

from __future__ import annotations

import re
from itertools import pairwise
from xml.etree import ElementTree

import pytest

from jobs.drawing.band_fan import HIGH, LABEL_APART, LEFT, RIGHT, TOP, WIDTH, FanPoint, FanWords, band_fan

WORDS = FanWords("1 in 10", "even chance", "8 in 10", "9 in 10", "promised")
SVG = "{http://www.w3.org/2000/svg}"


def fan(*points: FanPoint, until: float = 10.0, promised: float | None = None, promised_at: float | None = None) -> str:
    return band_fan(
        points,
        until,
        WORDS,
        promised=promised,
        promised_at=promised_at,
        date_words=lambda day: f"day {day}",
        time_ticks=[(0.0, "begin"), (until, "now")],
        title="How it moved",
        desc="From one date to another.",
    )


def corners(svg: str, kind: str) -> list[tuple[float, float]]:
    [shape] = [each for each in ElementTree.fromstring(svg).iter(f"{SVG}path") if each.get("class") == kind]
    return [(float(x), float(y)) for x, y in re.findall(r"([\d.]+) ([\d.]+)", shape.get("d", ""))]


ONE, TWO = FanPoint(0.0, 1, 3, 5, 8), FanPoint(4.0, 2, 4, 4, 6)


def test_each_band_holds_until_the_next_and_the_last_until_now() -> None:
    line = corners(fan(ONE, TWO), "even")
    wide = WIDTH - LEFT - RIGHT
    assert [x for x, _ in line] == pytest.approx([LEFT, LEFT + 0.4 * wide, LEFT + 0.4 * wide, LEFT + wide], abs=0.1)
    assert line[0][1] == line[1][1] > line[2][1] == line[3][1]  # a later date lies higher


def test_a_band_computed_just_now_is_seen() -> None:
    line = corners(fan(ONE, FanPoint(10.0, 2, 4, 4, 6)), "even")
    assert line[3][0] - line[2][0] > 15


def test_the_fan_spans_one_in_ten_to_nine_in_ten() -> None:
    shape = corners(fan(ONE), "wide")
    levels = sorted({y for _, y in shape})
    assert len(shape) == 4
    narrow = sorted({y for _, y in corners(fan(ONE), "narrow")})
    assert levels[0] < narrow[0] < narrow[1] < levels[1]


def test_a_date_beyond_what_was_computed_lies_at_the_upper_edge() -> None:
    shape = corners(fan(FanPoint(0.0, 1, 3, None, None)), "wide")
    assert min(y for _, y in shape) == TOP
    assert corners(fan(FanPoint(0.0, None, None, None, None)), "even")[0][1] == TOP


def test_the_promise_is_a_rule_from_when_it_was_told() -> None:
    root = ElementTree.fromstring(fan(ONE, TWO, promised=7.0, promised_at=4.0))
    [rule] = [each for each in root.iter(f"{SVG}line") if each.get("class") == "rule told"]
    wide = WIDTH - LEFT - RIGHT
    assert float(rule.get("x1", "0")) == pytest.approx(LEFT + 0.4 * wide, abs=0.1)
    assert TOP < float(rule.get("y1", "0")) < TOP + HIGH


def test_words_at_the_edge_never_touch_and_nothing_leaves_the_drawing() -> None:
    root = ElementTree.fromstring(fan(FanPoint(0.0, 3, 3, 3, 3), promised=3.0, promised_at=0.0))
    words = [each for each in root.iter(f"{SVG}text") if each.get("class") in ("end", "told")]
    levels = sorted(float(each.get("y", "0")) for each in words)
    assert len(words) == 5
    assert all(b - a >= LABEL_APART - 1e-6 for a, b in pairwise(levels))
    high = float(root.get("viewBox", "").split()[3])
    assert all(0 < level < high + 5 for level in levels)


def test_it_says_itself_to_who_cannot_see_it() -> None:
    root = ElementTree.fromstring(fan(ONE))
    assert root.findtext(f"{SVG}title") == "How it moved"
    assert root.findtext(f"{SVG}desc") == "From one date to another."
