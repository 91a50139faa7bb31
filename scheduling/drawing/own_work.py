"""Hours taken over hours expected, a row for each thing that is measured, its words above it (pure)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from jobs.drawing.svg import drawing, label, line

WIDTH: Final = 360.0
LEFT: Final = 8.0
RIGHT: Final = 8.0
ROW: Final = 52.0
TOP: Final = 30.0
EDGE: Final = math.log(3.0)  # ratios from a third to three times; others stand at the edge
TICKS: Final = ((0.5, "½"), (0.75, "¾"), (1.0, "1"), (1.5, "1½"), (2.0, "2"))


@dataclass(frozen=True)
class WorkRow:
    """Ratios of the entries with how much each counts (0 to 1), the factor and its eight in ten."""

    words: str
    entries: Sequence[tuple[float, float]]
    factor: float
    low: float
    high: float


def own_work_chart(rows: Sequence[WorkRow], *, title: str, desc: str, head: str) -> str:
    """The chart as SVG: a dot for each job (a ring where it hardly counts), a bar for the factor's eight in ten."""
    foot = TOP + ROW * len(rows)
    marks = [label((LEFT, 14), head, anchor="start", kind="tick")]
    marks += [label((_x(ratio), foot + 16), words, kind="tick") for ratio, words in TICKS]
    for number, row in enumerate(rows):
        y = TOP + ROW * (number + 0.68)
        marks.append(label((LEFT, y - 20), row.words, anchor="start"))
        for ratio, _words in TICKS:
            marks.append(line((_x(ratio), y - 12), (_x(ratio), y + 12), "rule" if ratio != 1.0 else "axis"))
        if row.entries:
            left, wide = _x(row.low), max(1.0, _x(row.high) - _x(row.low))
            marks.append(f'<rect class="spread" x="{left:.1f}" y="{y - 9:.1f}" width="{wide:.1f}" height="18"/>')
        for ratio, counts in row.entries:
            kind = "dot" if counts >= 0.25 else "ring"
            marks.append(f'<circle class="{kind}" cx="{_x(ratio):.1f}" cy="{y:.1f}" r="4"/>')
        if row.entries:
            marks.append(line((_x(row.factor), y - 13), (_x(row.factor), y + 13), "tick-mark"))
    return drawing("own-work", WIDTH, foot + 24, title=title, desc=desc, marks=marks)


def _x(ratio: float) -> float:
    share = (min(EDGE, max(-EDGE, math.log(ratio))) + EDGE) / (2 * EDGE)
    return LEFT + share * (WIDTH - LEFT - RIGHT)
