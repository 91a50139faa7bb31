"""From a site's wall clock to a place across the drawing (pure)."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Final

FROM_H: Final = 5.0  # nights are folded away: a day is drawn from here
TO_H: Final = 21.0  # to here


@dataclass(frozen=True)
class TimeScale:
    """Days side by side, each as wide as the next; within a day the hours from 5 to 21."""

    first: dt.date
    days: int
    day_px: int

    @property
    def width(self) -> int:
        return self.days * self.day_px

    def x(self, wall: dt.datetime) -> float:
        """Place of a wall-clock time, held at the edges of the drawing."""
        hour = wall.hour + wall.minute / 60
        share = min(1.0, max(0.0, (hour - FROM_H) / (TO_H - FROM_H)))
        return self.held(self.of_day(wall.date()) + share * self.day_px)

    def of_day(self, day: dt.date) -> float:
        """Left edge of a day; may lie outside."""
        return float((day - self.first).days * self.day_px)

    def held(self, x: float) -> float:
        return min(float(self.width), max(0.0, x))

    def shows(self, day: dt.date) -> bool:
        return 0 <= (day - self.first).days < self.days

    def span(self, begin: dt.datetime, end: dt.datetime, least: float = 0.0) -> tuple[float, float] | None:
        """Left edge and width of a stretch of time, at least so wide; None when it lies outside."""
        if end.date() < self.first or begin.date() > self.first + dt.timedelta(days=self.days - 1):
            return None
        left, right = self.x(begin), self.x(end)
        return left, max(least, right - left)

    def day_span(self, first: dt.date, last: dt.date) -> tuple[float, float] | None:
        """Left edge and width of whole days."""
        left, right = self.held(self.of_day(first)), self.held(self.of_day(last) + self.day_px)
        return None if right <= left else (left, right - left)
