"""Feeds are read back by two independent parsers, and zones are compared with the IANA rules instant by instant."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import icalendar
import pytest
import vobject
from dateutil import tz as dateutil_tz
from hypothesis import assume, given
from hypothesis import strategies as st

from scheduling.calendars import Entry, Feed, feed_bytes
from scheduling.vtimezone import onsets, vtimezone

STAMP = dt.datetime(2026, 4, 1, 9, tzinfo=dt.UTC)
ZONES = [
    "America/New_York",
    "America/Phoenix",
    "America/Los_Angeles",
    "Europe/Dublin",
    "Europe/Berlin",
    "Australia/Lord_Howe",
    "Australia/Adelaide",
    "Pacific/Auckland",
    "America/Santiago",
    "Asia/Kathmandu",
    "Africa/Casablanca",
    "UTC",
]


def timed(zone: str, start: dt.datetime, hours: float = 30.0, **more: object) -> Entry:
    values: dict[str, object] = {
        "uid": f"{start:%Y%m%d%H}@resurf",
        "sequence": 0,
        "created": STAMP,
        "changed": STAMP,
        "summary": "Fill",
        "description": "",
        "category": "fill",
        "zone": zone,
        "starts": start,
        "ends": start + dt.timedelta(hours=hours),
    }
    return Entry(**{**values, **more})  # type: ignore[arg-type]  # keywords of mixed kinds


def all_day(day: dt.date | None, **more: object) -> Entry:
    return timed("America/New_York", STAMP, **{"day": day, "starts": None, "ends": None, **more})


def read_back(data: bytes) -> tuple[list[icalendar.Event], list[vobject.base.Component]]:
    first = list(icalendar.Calendar.from_ical(data).walk("VEVENT"))
    second = list(vobject.readOne(data.decode()).vevent_list)
    assert len(first) == len(second)
    return first, second


@pytest.mark.parametrize("zone", ZONES)
def test_two_readers_find_the_same_instants_across_every_change_of_the_clock(zone: str):
    entries = [
        timed(zone, change.at + dt.timedelta(hours=offset))
        for change in onsets(ZoneInfo(zone), STAMP, STAMP + dt.timedelta(days=420))
        for offset in (-30, -1, 0, 1, 30)
    ] or [timed(zone, STAMP)]
    first, second = read_back(feed_bytes(Feed("fills", "", entries)))
    for entry, one, other in zip(entries, first, second, strict=True):
        assert entry.starts is not None
        assert entry.ends is not None
        for read, also, meant in (
            (one.decoded("dtstart"), other.dtstart.value, entry.starts),
            (one.decoded("dtend"), other.dtend.value, entry.ends),
        ):
            assert read.astimezone(dt.UTC) == also.astimezone(dt.UTC) == meant


@pytest.mark.parametrize("zone", ZONES)
def test_the_written_rules_of_a_zone_give_the_offsets_of_the_iana_rules(zone: str, tmp_path):
    """RFC 5545 section 3.6.5, read by dateutil's own interpreter of VTIMEZONE, hour by hour over two years."""
    component = vtimezone(zone, dt.date(2025, 1, 1), dt.date(2028, 1, 1)).to_ical().decode()
    path = tmp_path / "zone.ics"
    path.write_text(f"BEGIN:VCALENDAR\n{component}END:VCALENDAR\n".replace("\r\n", "\n"))
    read = dateutil_tz.tzical(str(path)).get()
    iana = ZoneInfo(zone)
    wrong = []
    for hour in range(24 * 730):
        instant = dt.datetime(2025, 6, 1, tzinfo=dt.UTC) + dt.timedelta(hours=hour)
        wall = instant.astimezone(iana)
        ambiguous = wall.replace(fold=0).utcoffset() != wall.replace(fold=1).utcoffset()
        if not ambiguous and wall.replace(tzinfo=None).replace(tzinfo=read).utcoffset() != wall.utcoffset():
            wrong.append(instant)
    assert wrong == []


def test_a_fill_day_is_a_date_and_ends_the_next_day():
    first, second = read_back(feed_bytes(Feed("fills", "", [all_day(dt.date(2026, 11, 1))])))
    assert first[0].decoded("dtstart") == second[0].dtstart.value == dt.date(2026, 11, 1)
    assert first[0].decoded("dtend") == dt.date(2026, 11, 2)
    assert first[0]["TRANSP"] == "TRANSPARENT"


@pytest.mark.parametrize(
    ("confirmed", "cancelled", "status"),
    [(True, False, "CONFIRMED"), (False, False, "TENTATIVE"), (True, True, "CANCELLED")],
)
def test_the_status_says_how_sure(confirmed: bool, cancelled: bool, status: str):
    entry = all_day(dt.date(2026, 5, 1), confirmed=confirmed, cancelled=cancelled)
    first, second = read_back(feed_bytes(Feed("fills", "", [entry])))
    assert first[0]["STATUS"] == second[0].status.value == status


def test_a_cancelled_event_rings_no_alarm():
    alarm = (dt.timedelta(hours=14),)
    kept = feed_bytes(Feed("x", "", [all_day(dt.date(2026, 5, 1), alarms_before=alarm)]))
    gone = feed_bytes(Feed("x", "", [all_day(dt.date(2026, 5, 1), alarms_before=alarm, cancelled=True)]))
    assert kept.count(b"BEGIN:VALARM") == 1
    assert b"VALARM" not in gone


@given(text=st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), min_size=1, max_size=300))
def test_any_text_comes_back_as_it_was(text: str):
    r"""But for a backslash before n: the library takes \\N for a line break on the way out, and both on the way in."""
    assume("\\n" not in text.lower())
    entry = all_day(dt.date(2026, 5, 1), summary=text, description=text + ";,\\\nsecond line")
    data = feed_bytes(Feed(text, text, [entry]))
    assert max(len(line) for line in data.split(b"\r\n")) <= 75
    event = next(iter(icalendar.Calendar.from_ical(data).walk("VEVENT")))
    assert str(event["SUMMARY"]) == text
    assert str(event["DESCRIPTION"]) == text + ";,\\\nsecond line"


def test_the_same_entries_give_the_same_bytes():
    feed = Feed("x", "y", [timed("Europe/Dublin", STAMP), all_day(dt.date(2026, 5, 1))])
    assert feed_bytes(feed) == feed_bytes(feed)


def test_a_feed_of_ten_thousand_events_is_read_whole():
    """A thousand jobs with all their stints. The library writes 0.25 ms of one core an event, whatever their number."""
    entries = [all_day(dt.date(2026, 1, 1) + dt.timedelta(days=n % 900), uid=f"{n}@resurf") for n in range(10_000)]
    data = feed_bytes(Feed("x", "", entries))
    assert data.count(b"BEGIN:VEVENT") == 10_000
    read = {str(event["UID"]): event.decoded("dtstart") for event in icalendar.Calendar.from_ical(data).walk("VEVENT")}
    assert read == {entry.uid: entry.day for entry in entries}


def test_an_entry_without_a_time_is_refused():
    with pytest.raises(ValueError, match="needs a day, or a start before its end"):
        feed_bytes(Feed("x", "", [all_day(None)]))
