"""When a notice may be sent: wall times of a zone and mail-free hours, across changes of the clock. Pure."""

from __future__ import annotations

import datetime as dt
from typing import Final
from zoneinfo import ZoneInfo

DAY_MIN: Final = 24 * 60


def wall_instant(day: dt.date, minute: int, zone: ZoneInfo) -> dt.datetime:
    """The instant at which clocks of the zone first show this minute of this day, in UTC.

    A wall time that the clock skips becomes the first instant after the gap, one that it shows twice the first.
    *minute* may be beyond the day: 25 * 60 is 1:00 of the next.

    Parameters
    ----------
    day : local date
    minute : minutes of wall time since 0:00 of that date
    zone : IANA zone
    """
    wall = dt.datetime.combine(day, dt.time()) + dt.timedelta(minutes=minute)
    instant = wall.replace(tzinfo=zone, fold=0).astimezone(dt.UTC)
    if instant.astimezone(zone).replace(tzinfo=None) == wall:
        return instant
    # In a gap fold 0 counts with the offset before it: that instant lies as far behind the gap as the wall time is in.
    return _end_of_gap(instant, zone)


def _end_of_gap(after: dt.datetime, zone: ZoneInfo) -> dt.datetime:
    """First minute with the offset of *after*, within a day before it."""
    offset = after.astimezone(zone).utcoffset()
    low, high = after - dt.timedelta(days=1), after
    while high - low > dt.timedelta(minutes=1):
        middle = low + ((high - low) // 2 // dt.timedelta(minutes=1)) * dt.timedelta(minutes=1)
        low, high = (low, middle) if middle.astimezone(zone).utcoffset() == offset else (middle, high)
    return high


def after_mail_free(at: dt.datetime, from_min: int, until_min: int, zone: ZoneInfo) -> dt.datetime:
    """The first instant at or after *at* outside the mail-free hours.

    They run from one minute of the local day to another, over midnight where the first is the later one; equal
    minutes mean that there are none.

    Raises
    ------
    ValueError
        When a minute is outside 0 to 1440.
    """
    for minute in (from_min, until_min):
        if not 0 <= minute <= DAY_MIN:
            raise ValueError(f"mail-free hours: minute {minute}, allowed 0 to {DAY_MIN}.")
    if from_min == until_min:
        return at
    today = at.astimezone(zone).date()
    length = (until_min - from_min) % DAY_MIN
    for day in (today - dt.timedelta(days=1), today):
        begins, ends = wall_instant(day, from_min, zone), wall_instant(day, from_min + length, zone)
        if begins <= at < ends:
            return ends
    return at


def due_wall(now: dt.datetime, minute: int, zone: ZoneInfo) -> tuple[dt.date, dt.datetime]:
    """The local date of *now* and the instant of its *minute*."""
    today = now.astimezone(zone).date()
    return today, wall_instant(today, minute, zone)
