"""The few marks that all drawings are made of. Colours come from the page's stylesheet by class."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from typing import Final, Literal

from jobs.physics.units import convert

Point = tuple[float, float]
Units = Literal["us", "metric"]
FONT_PX: Final = 13.0
SIGNS: Final = {"us": "ft", "metric": "m"}


def drawing(name: str, width: float, height: float, *, title: str, desc: str, marks: Iterable[str]) -> str:
    """A whole drawing with its title and description; *name* makes their ids unique on a page."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="drawing" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'width="{width:.0f}" height="{height:.0f}" role="img" aria-labelledby="{name}-title {name}-desc" '
        f'font-size="{FONT_PX:g}">'
        f'<title id="{name}-title">{escape(title)}</title><desc id="{name}-desc">{escape(desc)}</desc>'
        f"{''.join(marks)}</svg>"
    )


def line(start: Point, end: Point, kind: str) -> str:
    (x1, y1), (x2, y2) = start, end
    return f'<line class="{kind}" x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"/>'


def path(points: Sequence[Point], kind: str, *, closed: bool = False) -> str:
    """A polyline, or a polygon when *closed*."""
    steps = " L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    return f'<path class="{kind}" d="M{steps}{" Z" if closed else ""}"/>'


def label(at: Point, words: str, *, anchor: str = "middle", kind: str = "") -> str:
    """Words beside a point; anchor start, middle or end."""
    css = f' class="{kind}"' if kind else ""
    return f'<text{css} x="{at[0]:.1f}" y="{at[1]:.1f}" text-anchor="{anchor}">{escape(words)}</text>'


def measure_line(start: Point, end: Point, words: str) -> str:
    """A dimension along x or y: a line with end ticks and its words in the middle."""
    (x1, y1), (x2, y2) = start, end
    level = abs(y2 - y1) < abs(x2 - x1)
    tick = (0.0, 4.0) if level else (4.0, 0.0)
    ends = [line((x - tick[0], y - tick[1]), (x + tick[0], y + tick[1]), "measure") for x, y in (start, end)]
    middle = ((x1 + x2) / 2, (y1 + y2) / 2)
    at = (middle[0], middle[1] - 6) if level else (middle[0] + 8, middle[1] + 4)
    return "".join((line(start, end, "measure"), *ends, label(at, words, anchor="middle" if level else "start")))


def said(metres: float, units: Units) -> str:
    """A length with its unit: feet to a tenth, metres to a hundredth."""
    return f"{number(metres, units)} {SIGNS[units]}"


def number(metres: float, units: Units) -> str:
    value = float(convert(metres, "m", SIGNS[units]))
    return f"{value:.1f}" if units == "us" else f"{value:.2f}"


def grid_step_m(units: Units) -> float:
    """One metre, or five feet."""
    return 1.0 if units == "metric" else float(convert(5.0, "ft", "m"))
