"""A plain chart of one quantity over another: axes, bands, rules, curves and marks (pure).

Drawn narrow enough to be read on a phone; classes are coloured by the page's stylesheet and differ in shape or
pattern, so that the chart prints in black and white.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from jobs.drawing.svg import Point, drawing, label, line, path

Shape = Literal["dot", "ring", "cross", "tick"]
RIGHT, TOP, BELOW = 10.0, 16.0, 26.0
LETTER_PX = 7.0


@dataclass(frozen=True)
class Axis:
    """From *low* to *high*, with labelled ticks."""

    low: float
    high: float
    ticks: Sequence[tuple[float, str]] = ()


@dataclass
class Plot:
    """One chart; marks are drawn in the order in which they are added."""

    x: Axis
    y: Axis
    width: float = 360.0
    height: float = 190.0
    left: float = 50.0
    marks: list[str] = field(default_factory=list)

    def px(self, x: float) -> float:
        share = (x - self.x.low) / (self.x.high - self.x.low or 1.0)
        return self.left + min(1.0, max(0.0, share)) * (self.width - self.left - RIGHT)

    def py(self, y: float) -> float:
        share = (y - self.y.low) / (self.y.high - self.y.low or 1.0)
        return self.height - BELOW - min(1.0, max(0.0, share)) * (self.height - BELOW - TOP)

    def area(self, x: tuple[float, float], y: tuple[float, float], kind: str) -> None:
        """A rectangle between two values of each axis."""
        left, right = sorted(self.px(each) for each in x)
        top, foot = sorted(self.py(each) for each in y)
        self.marks.append(
            f'<rect class="{kind}" x="{left:.1f}" y="{top:.1f}" width="{max(0.5, right - left):.1f}" '
            f'height="{max(0.5, foot - top):.1f}"/>'
        )

    def between(self, points: Sequence[tuple[float, float, float]], kind: str) -> None:
        """The area between two curves given as (x, lower, upper)."""
        if points:
            there = [(self.px(x), self.py(low)) for x, low, _ in points]
            back = [(self.px(x), self.py(high)) for x, _, high in reversed(points)]
            self.marks.append(path([*there, *back], kind, closed=True))

    def curve(self, points: Sequence[Point], kind: str) -> None:
        if len(points) > 1:
            self.marks.append(path([(self.px(x), self.py(y)) for x, y in points], f"curve {kind}"))

    def mark(self, at: Point, kind: str = "", shape: Shape = "dot") -> None:
        """A point; a ring or a cross where it counts less or was doubted."""
        x, y = self.px(at[0]), self.py(at[1])
        if shape in ("dot", "ring"):
            self.marks.append(f'<circle class="{shape} {kind}" cx="{x:.1f}" cy="{y:.1f}" r="4"/>')
        elif shape == "cross":
            self.marks.append(path([(x - 4, y - 4), (x + 4, y + 4)], f"cross {kind}"))
            self.marks.append(path([(x - 4, y + 4), (x + 4, y - 4)], f"cross {kind}"))
        else:
            self.marks.append(line((x, y - 7), (x, y + 7), f"tick-mark {kind}"))

    def rule_x(self, x: float, words: str, kind: str = "", *, row: int = 0) -> None:
        """An upright rule with its words on top; *row* puts them one line lower."""
        at = self.px(x)
        flip = at + LETTER_PX * len(words) > self.width
        self.marks.append(line((at, TOP - 2), (at, self.height - BELOW), f"rule {kind}"))
        place = (at - 3 if flip else at + 3, 11.0 + 14.0 * row)
        self.marks.append(label(place, words, anchor="end" if flip else "start", kind=kind))

    def rule_y(self, y: float, words: str, kind: str = "", *, begin: bool = False) -> None:
        """A level rule with its words above its right end, or above its beginning."""
        at = self.py(y)
        self.marks.append(line((self.left, at), (self.width - RIGHT, at), f"rule {kind}"))
        place = (self.left + 4 if begin else self.width - RIGHT, at - 4)
        self.marks.append(label(place, words, anchor="start" if begin else "end", kind=kind))

    def svg(self, name: str, *, title: str, desc: str) -> str:
        """The whole chart; *name* makes its ids unique on a page."""
        foot = self.height - BELOW
        frame = [
            line((self.left, foot), (self.width - RIGHT, foot), "axis"),
            line((self.left, TOP), (self.left, foot), "axis"),
        ]
        for value, words in self.x.ticks:
            frame.append(line((self.px(value), foot), (self.px(value), foot + 4), "axis"))
            near = self.px(value) + 0.5 * LETTER_PX * len(words) > self.width
            place = (self.width - 2, foot + 18) if near else (self.px(value), foot + 18)
            frame.append(label(place, words, anchor="end" if near else "middle", kind="tick"))
        for value, words in self.y.ticks:
            frame.append(line((self.left - 4, self.py(value)), (self.left, self.py(value)), "axis"))
            frame.append(label((self.left - 7, self.py(value) + 4), words, anchor="end", kind="tick"))
        marks = [*frame, *self.marks]
        return drawing(name, self.width, self.height, title=title, desc=desc, marks=marks)


def steps(low: float, high: float, most: int = 6) -> list[float]:
    """At most so many round values between two."""
    span = high - low
    if span <= 0:
        return [low]
    raw = span / most
    power = 10.0 ** _floor_log(raw)
    step = next(each * power for each in (1, 2, 2.5, 5, 10) if each * power >= raw - 1e-12)
    first = -(-low // step)
    return [round(n * step, 10) for n in range(int(first), int(high // step) + 1)]


def _floor_log(value: float) -> int:
    power = 0
    while value >= 10:
        value, power = value / 10, power + 1
    while value < 1:
        value, power = value * 10, power - 1
    return power
