"""A VTIMEZONE component from the IANA rules of a zone, for a span of years (RFC 5545, section 3.6.5). Pure.

Each observance starts at its onset in local time *before* the change (TZOFFSETFROM), as the standard asks.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from icalendar import Timezone, TimezoneDaylight, TimezoneStandard


@dataclass(frozen=True)
class Onset:
    """A change of the clock: the instant, the offsets before and after, the name and whether it is summer time."""

    at: dt.datetime
    before: dt.timedelta
    after: dt.timedelta
    name: str
    summer: bool


def vtimezone(zone: str, first: dt.date, last: dt.date) -> Timezone:
    """The zone's definition, true from *first* to *last*."""
    component = Timezone()
    component.add("tzid", zone)
    begin = dt.datetime.combine(first, dt.time(), tzinfo=dt.UTC)
    component.add_component(_observance(_standing(ZoneInfo(zone), begin)))
    for onset in onsets(ZoneInfo(zone), begin, dt.datetime.combine(last, dt.time(), tzinfo=dt.UTC)):
        component.add_component(_observance(onset))
    return component


def onsets(zone: ZoneInfo, begin: dt.datetime, end: dt.datetime) -> Iterator[Onset]:
    """Every change of offset or name in the span, to the minute."""
    day = dt.timedelta(days=1)
    at = begin
    while at < end:
        if _state(zone, at) != _state(zone, at + day):
            change = _bisect(zone, at, at + day)
            offset, name, summer = _state(zone, change)
            yield Onset(change, _state(zone, at)[0], offset, name, summer)
        at += day


def _bisect(zone: ZoneInfo, low: dt.datetime, high: dt.datetime) -> dt.datetime:
    """First minute with the state of *high*."""
    before = _state(zone, low)
    while high - low > dt.timedelta(minutes=1):
        middle = low + ((high - low) // 2 // dt.timedelta(minutes=1)) * dt.timedelta(minutes=1)
        low, high = (middle, high) if _state(zone, middle) == before else (low, middle)
    return high


def _state(zone: ZoneInfo, at: dt.datetime) -> tuple[dt.timedelta, str, bool]:
    local = at.astimezone(zone)
    return local.utcoffset() or dt.timedelta(), local.tzname() or "", bool(local.dst())


def _standing(zone: ZoneInfo, begin: dt.datetime) -> Onset:
    offset, name, summer = _state(zone, begin)
    return Onset(begin, offset, offset, name, summer)


def _observance(onset: Onset) -> TimezoneStandard | TimezoneDaylight:
    """One change, one component: some readers take only the first of several dates in an RDATE."""
    component: TimezoneStandard | TimezoneDaylight = TimezoneDaylight() if onset.summer else TimezoneStandard()
    component.add("dtstart", (onset.at + onset.before).replace(tzinfo=None))
    component.add("tzoffsetfrom", onset.before)
    component.add("tzoffsetto", onset.after)
    component.add("tzname", onset.name)
    return component
