"""How a fill band has moved: dates upwards, time to the right, as a fan that steps at every new computation."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from jobs.drawing.svg import Point, drawing, label, line, path

WIDTH: Final = 640.0
LEFT: Final = 98.0
RIGHT: Final = 96.0
TOP: Final = 16.0
HIGH: Final = 190.0
BELOW: Final = 34.0
LEAST_DAYS: Final = 6.0
MOST_TICKS: Final = 6
LABEL_APART: Final = 15.0
LAST_SHARE: Final = 0.05  # of the width, at least, for the last band


@dataclass(frozen=True)
class FanPoint:
    """The band as computed at one time: days after the first time, and dates as days after a first date.

    None for a date beyond what was computed: drawn at the upper edge.
    """

    at: float
    p10: float | None
    p50: float | None
    p80: float | None
    p90: float | None


@dataclass(frozen=True)
class FanWords:
    """What the ends of the lines and the rule are called."""

    p10: str
    p50: str
    p80: str
    p90: str
    promised: str = ""


def band_fan(
    points: Sequence[FanPoint],
    until: float,
    words: FanWords,
    *,
    promised: float | None,
    promised_at: float | None,
    date_words: Callable[[int], str],
    time_ticks: Sequence[tuple[float, str]],
    title: str,
    desc: str,
) -> str:
    """The fan as SVG.

    Parameters
    ----------
    points : bands, oldest first; each holds until the next
    until : now, days after the first time
    promised, promised_at : the promised date, and when it was told; None without one
    date_words : label of a date
    time_ticks : (days after the first time, label)
    """
    known = [each for point in points for each in (point.p10, point.p50, point.p80, point.p90) if each is not None]
    low = min([*known, promised if promised is not None else 1e9, *([] if known else [0.0])])
    high = max([*known, promised if promised is not None else -1e9, low + LEAST_DAYS])
    if points:  # the last band is seen even when it was computed just now
        until = max(until, points[-1].at + LAST_SHARE * max(until, points[-1].at))
    span_d, span_t = high - low + 1.0, max(until, 1e-6)

    def x(at: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * min(max(at / span_t, 0.0), 1.0)

    def y(day: float | None) -> float:
        return TOP if day is None else TOP + HIGH * (1.0 - (day - low + 0.5) / span_d)

    foot = TOP + HIGH
    drawn = [line((LEFT, foot), (WIDTH - RIGHT, foot), "axis")]
    step = max(1, round(span_d / MOST_TICKS))
    for day in range(int(low), int(high) + 1, step):
        drawn += [
            line((LEFT, y(day)), (WIDTH - RIGHT, y(day)), "grid"),
            label((LEFT - 8, y(day) + 4), date_words(day), anchor="end", kind="tick"),
        ]
    drawn += [label((x(at), foot + 20), said, kind="tick") for at, said in time_ticks]
    drawn += [_fan(points, until, x, y, "p10", "p90", "wide"), _fan(points, until, x, y, "p50", "p80", "narrow")]
    drawn.append(path(_steps(points, until, x, y, "p50"), "even"))
    ends: list[tuple[float, str, str]] = []
    if points:
        last = points[-1]
        ends = [(y(getattr(last, name)), getattr(words, name), "end") for name in ("p90", "p80", "p50", "p10")]
    if promised is not None:
        begin = x(promised_at or 0.0)
        drawn.append(line((begin, y(promised)), (WIDTH - RIGHT, y(promised)), "rule told"))
        ends.append((y(promised), words.promised, "told"))
    drawn += _ends(ends)
    return drawing("fan", WIDTH, foot + BELOW, title=title, desc=desc, marks=drawn)


def _steps(
    points: Sequence[FanPoint], until: float, x: Callable[[float], float], y: Callable[[float | None], float], name: str
) -> list[Point]:
    """Corners of a line that holds its date until the next point."""
    corners: list[Point] = []
    for number, point in enumerate(points):
        after = points[number + 1].at if number + 1 < len(points) else max(until, point.at)
        corners += [(x(point.at), y(getattr(point, name))), (x(after), y(getattr(point, name)))]
    return corners


def _fan(
    points: Sequence[FanPoint],
    until: float,
    x: Callable[[float], float],
    y: Callable[[float | None], float],
    low: str,
    high: str,
    kind: str,
) -> str:
    corners = _steps(points, until, x, y, low) + _steps(points, until, x, y, high)[::-1]
    return path(corners, kind, closed=True) if corners else ""


def _ends(ends: Sequence[tuple[float, str, str]]) -> list[str]:
    """Words at the right edge, in the order of their lines, pushed apart where they would touch."""
    ordered = sorted(ends, key=lambda each: each[0])
    levels: list[float] = []
    for level, _, _ in ordered:
        levels.append(max(level + 4, levels[-1] + LABEL_APART if levels else -1e9))
    lowest = TOP + HIGH + 8
    for number in range(len(levels) - 1, -1, -1):
        levels[number] = min(levels[number], lowest)
        lowest = levels[number] - LABEL_APART
    return [
        label((WIDTH - RIGHT + 6, at), words, anchor="start", kind=kind)
        for at, (_, words, kind) in zip(levels, ordered, strict=True)
    ]
