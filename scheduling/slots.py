"""Half-hour slots of local wall time and the instants they stand for (pure)."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

SLOT_MIN: Final = 30
DAY_SLOTS: Final = 48
EARTH_M_PER_DEG: Final = 111_195.0  # mean earth radius 6,371.0088 km (IUGG) times pi / 180


@dataclass(frozen=True)
class SlotClock:
    """Day 0 and the zone; slot s is wall time ``first_day + s * 30 min``, and a day always has 48 slots."""

    first_day: dt.date
    zone: ZoneInfo

    def instant(self, slot: int) -> dt.datetime:
        """UTC instant of a slot. A wall time that the clock skips counts as the one an hour later."""
        day = self.first_day + dt.timedelta(days=slot // DAY_SLOTS)
        wall = dt.datetime.combine(day, dt.time()) + dt.timedelta(minutes=SLOT_MIN * (slot % DAY_SLOTS))
        return wall.replace(tzinfo=self.zone).astimezone(dt.UTC)

    def slot(self, instant: dt.datetime, *, up: bool = False) -> int:
        """Slot that contains the instant (or the next one, *up*), negative before day 0."""
        wall = instant.astimezone(self.zone)
        minutes = wall.hour * 60 + wall.minute + wall.second / 60
        whole = math.ceil(minutes / SLOT_MIN) if up else math.floor(minutes / SLOT_MIN)
        return self.day(wall.date()) * DAY_SLOTS + whole

    def day(self, date: dt.date) -> int:
        return (date - self.first_day).days

    def date(self, slot: int) -> dt.date:
        return self.first_day + dt.timedelta(days=slot // DAY_SLOTS)


def slots_of_hours(hours: float) -> int:
    """Slots that hold this many hours, rounded up; at least one."""
    return max(1, math.ceil(hours * 60 / SLOT_MIN - 1e-9))


def metres(latitude: float, longitude: float, from_latitude: float, from_longitude: float) -> tuple[int, int]:
    """East and north of a reference point on the tangent plane [m]; good to 0.2 % within 200 km."""
    north = (latitude - from_latitude) * EARTH_M_PER_DEG
    east = (longitude - from_longitude) * EARTH_M_PER_DEG * math.cos(math.radians(from_latitude))
    return round(east), round(north)
