"""Calendar feeds: entries in, iCalendar bytes out (RFC 5545, RFC 7986). Pure: the same entries, the same bytes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

from icalendar import Alarm, Calendar, Event, vDuration

from scheduling.vtimezone import vtimezone

PRODID: Final = "-//resurf//fill dates and stints//EN"
REFRESH: Final = dt.timedelta(hours=1)


@dataclass(frozen=True)
class Entry:
    """One event as a subscriber sees it.

    `day` makes an all-day event of that local date, otherwise `starts` and `ends` are aware instants.
    `sequence` and `changed` rise only when something a reader would notice has changed.
    """

    uid: str
    sequence: int
    created: dt.datetime
    changed: dt.datetime
    summary: str
    description: str
    category: str
    zone: str
    day: dt.date | None = None
    starts: dt.datetime | None = None
    ends: dt.datetime | None = None
    location: str = ""
    url: str = ""
    confirmed: bool = True
    cancelled: bool = False
    alarms_before: tuple[dt.timedelta, ...] = ()


@dataclass(frozen=True)
class Feed:
    """A named calendar in one language."""

    name: str
    description: str
    entries: Sequence[Entry]
    url: str = ""


def feed_bytes(feed: Feed) -> bytes:
    """The calendar as bytes with CRLF lines, entries in order of their first appearance.

    Raises
    ------
    ValueError
        When an entry has neither a day nor a start before its end.
    """
    calendar = Calendar()
    calendar.add("prodid", PRODID)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    calendar.add("name", feed.name)
    calendar.add("x-wr-calname", feed.name)
    if feed.description:  # libical takes an empty one for an error
        calendar.add("description", feed.description)
    calendar.add("refresh-interval", vDuration(REFRESH), parameters={"VALUE": "DURATION"})
    if feed.url:
        calendar.add("url", feed.url)
    for zone, first, last in _zones(feed.entries):
        calendar.add_component(vtimezone(zone, first, last))
    for entry in feed.entries:
        calendar.add_component(_event(entry))
    data: bytes = calendar.to_ical()
    return data


def _zones(entries: Sequence[Entry]) -> list[tuple[str, dt.date, dt.date]]:
    """Zones that timed entries use, each with the years its definition must cover."""
    spans: dict[str, tuple[dt.date, dt.date]] = {}
    for entry in entries:
        if entry.starts is None or entry.ends is None:
            continue
        first, last = spans.get(entry.zone, (entry.starts.date(), entry.ends.date()))
        spans[entry.zone] = (min(first, entry.starts.date()), max(last, entry.ends.date()))
    return [
        (zone, dt.date(first.year - 1, 1, 1), dt.date(last.year + 2, 1, 1))
        for zone, (first, last) in sorted(spans.items())
    ]


def _event(entry: Entry) -> Event:
    event = Event()
    event.add("uid", entry.uid)
    event.add("sequence", entry.sequence)
    # DTSTAMP of a published event is its last change, so that equal facts give equal bytes.
    event.add("dtstamp", entry.changed.astimezone(dt.UTC))
    event.add("created", entry.created.astimezone(dt.UTC))
    event.add("last-modified", entry.changed.astimezone(dt.UTC))
    event.add("summary", entry.summary)
    if entry.description:
        event.add("description", entry.description)
    _when(event, entry)
    if entry.location:
        event.add("location", entry.location)
    if entry.url:
        event.add("url", entry.url)
    event.add("categories", [entry.category])
    event.add("status", "CANCELLED" if entry.cancelled else "CONFIRMED" if entry.confirmed else "TENTATIVE")
    event.add("transp", "TRANSPARENT" if entry.day is not None or entry.cancelled else "OPAQUE")
    if not entry.cancelled:
        for before in entry.alarms_before:
            event.add_component(_alarm(entry, before))
    return event


def _when(event: Event, entry: Entry) -> None:
    if entry.day is not None:
        event.add("dtstart", entry.day)
        event.add("dtend", entry.day + dt.timedelta(days=1))
    elif entry.starts is not None and entry.ends is not None and entry.starts < entry.ends:
        event.add("dtstart", _local(entry.starts, entry.zone))
        event.add("dtend", _local(entry.ends, entry.zone))
    else:
        raise ValueError(f"entry {entry.uid} needs a day, or a start before its end.")


def _local(instant: dt.datetime, zone: str) -> dt.datetime:
    """Wall time of the site; UTC in an hour that the clock runs twice, since a wall time cannot say which."""
    wall = instant.astimezone(ZoneInfo(zone))
    twice = wall.replace(fold=0).utcoffset() != wall.replace(fold=1).utcoffset()
    return instant.astimezone(dt.UTC) if twice else wall


def _alarm(entry: Entry, before: dt.timedelta) -> Alarm:
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", entry.summary)
    alarm.add("trigger", -before)
    return alarm
