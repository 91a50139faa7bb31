"""The chance of each fill day as a small chart, with the dates that people are told marked as dated rules."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from jobs.drawing.svg import drawing, label, line

WIDTH: Final = 640.0
LEFT: Final = 14.0
RIGHT: Final = 14.0
TOP: Final = 58.0
HIGH: Final = 96.0
BELOW: Final = 34.0
LEAST_DAYS: Final = 14
MARK_ROWS: Final = 3
LETTER_PX: Final = 6.7  # of the drawing's font, on average


@dataclass(frozen=True)
class ChanceDay:
    """Days after the first one, and the chance that the pool is full on just this day, 0 to 1."""

    day: int
    chance: float


@dataclass(frozen=True)
class Mark:
    """A dated rule: "even chance by Tue 14 Apr"; kind `told` (promised) or `band`."""

    day: int
    words: str
    kind: str = "band"


def chance_chart(
    days: Sequence[ChanceDay], marks: Sequence[Mark], ticks: Sequence[tuple[int, str]], *, title: str, desc: str
) -> str:
    """The chart as SVG.

    Parameters
    ----------
    days : chance of each day, ascending
    marks : rules to draw, each with its words; at most a few
    ticks : (day, label) along the foot
    title, desc : what a reader who cannot see it is told
    """
    every = [each.day for each in days] + [mark.day for mark in marks] + [day for day, _ in ticks]
    first, last = min(every, default=0), max(every, default=0)
    count = max(LEAST_DAYS, last - first + 1)
    step = (WIDTH - LEFT - RIGHT) / count
    tallest = max((each.chance for each in days), default=1.0) or 1.0

    def x(day: int) -> float:
        return LEFT + (day - first) * step

    foot = TOP + HIGH
    drawn = [_column(x(each.day), foot, step, HIGH * each.chance / tallest) for each in days if each.chance > 0]
    drawn += [line((LEFT, foot), (WIDTH - RIGHT, foot), "axis")]
    drawn += [_tick(x(day) + step / 2, foot + 20, words) for day, words in ticks]
    drawn += _marks(marks, x, step, foot)
    return drawing("chance", WIDTH, foot + BELOW, title=title, desc=desc, marks=drawn)


def _tick(at: float, level: float, words: str) -> str:
    """A label under its day, kept inside the drawing."""
    half = LETTER_PX * len(words) / 2
    if at - half < 0:
        return label((2, level), words, anchor="start", kind="tick")
    return label((at, level), words, kind="tick")


def _column(left: float, foot: float, step: float, high: float) -> str:
    wide = max(1.0, step * 0.78)
    x, y = left + step * 0.11, foot - high
    return f'<rect class="chance" x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{high:.1f}"/>'


def _marks(marks: Sequence[Mark], x: Callable[[int], float], step: float, foot: float) -> list[str]:
    """Rules through the end of their day; labels in as many rows as they need not to touch."""
    drawn: list[str] = []
    ends = [-1e9] * MARK_ROWS
    for mark in sorted(marks, key=lambda each: each.day):
        at = x(mark.day) + step
        wide = 8 + LETTER_PX * len(mark.words)
        flip = at + wide > WIDTH
        begin = at - wide if flip else at
        row = next((n for n in range(MARK_ROWS) if ends[n] <= begin), MARK_ROWS - 1)
        ends[row] = begin + wide
        level = 14.0 + 17.0 * row
        drawn.append(line((at, level + 4), (at, foot), f"rule {mark.kind}"))
        drawn.append(
            label((at - 3 if flip else at + 3, level), mark.words, anchor="end" if flip else "start", kind=mark.kind)
        )
    return drawn
