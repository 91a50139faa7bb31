"""Wall times and mail-free hours on nights when the clock changes, against `zoneinfo` minute by minute."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.notice_times import after_mail_free, due_wall, wall_instant
from scheduling.vtimezone import onsets

UTC = dt.UTC
ZONES = ["America/New_York", "America/Los_Angeles", "Australia/Lord_Howe", "Europe/Dublin", "America/Santiago", "UTC"]
NEW_YORK = ZoneInfo("America/New_York")


def first_minute_that_shows(day: dt.date, minute: int, zone: ZoneInfo) -> dt.datetime:
    """By walking: the first instant of the day whose wall time is this one or later."""
    wanted = dt.datetime.combine(day, dt.time()) + dt.timedelta(minutes=minute)
    at = dt.datetime.combine(day, dt.time(), UTC) - dt.timedelta(hours=16)
    while at.astimezone(zone).replace(tzinfo=None) < wanted:
        at += dt.timedelta(minutes=1)
    return at


@pytest.mark.parametrize("zone", ZONES)
def test_a_wall_time_is_found_by_walking_through_the_night_of_every_change(zone: str):
    tz = ZoneInfo(zone)
    begin = dt.datetime(2026, 1, 1, tzinfo=UTC)
    changes = [change.at for change in onsets(tz, begin, begin + dt.timedelta(days=366))] or [begin]
    for change in changes:
        day = change.astimezone(tz).date()
        for minute in (0, 30, 90, 120, 145, 150, 179, 180, 390):
            assert wall_instant(day, minute, tz) == first_minute_that_shows(day, minute, tz), (zone, day, minute)


def test_half_past_six_is_half_past_six_on_both_nights_of_the_change():
    """America/New_York, 2026: clocks go forward on 8 March and back on 1 November (IANA time zone database)."""
    spring, autumn = dt.date(2026, 3, 8), dt.date(2026, 11, 1)
    assert wall_instant(spring, 390, NEW_YORK) == dt.datetime(2026, 3, 8, 10, 30, tzinfo=UTC)
    assert wall_instant(autumn, 390, NEW_YORK) == dt.datetime(2026, 11, 1, 11, 30, tzinfo=UTC)
    assert due_wall(dt.datetime(2026, 3, 8, 4, tzinfo=UTC), 390, NEW_YORK)[0] == dt.date(2026, 3, 7)


def test_a_skipped_hour_begins_after_the_gap_and_a_doubled_one_the_first_time():
    assert wall_instant(dt.date(2026, 3, 8), 150, NEW_YORK) == dt.datetime(2026, 3, 8, 7, 0, tzinfo=UTC)
    assert wall_instant(dt.date(2026, 11, 1), 90, NEW_YORK) == dt.datetime(2026, 11, 1, 5, 30, tzinfo=UTC)


@given(
    at=st.integers(0, 3 * 365 * 1440).map(lambda n: dt.datetime(2025, 1, 1, tzinfo=UTC) + dt.timedelta(minutes=n)),
    from_min=st.integers(0, 1439),
    until_min=st.integers(0, 1439),
    zone=st.sampled_from(ZONES),
)
def test_nothing_is_sent_in_mail_free_hours_and_nothing_is_held_longer_than_they_last(at, from_min, until_min, zone):
    tz = ZoneInfo(zone)
    sent = after_mail_free(at, from_min, until_min, tz)
    assert sent >= at
    assert after_mail_free(sent, from_min, until_min, tz) == sent
    length = dt.timedelta(minutes=(until_min - from_min) % 1440)
    assert sent - at <= length + dt.timedelta(hours=1)  # an hour longer on the night on which the clock goes back


def test_mail_free_hours_over_midnight_hold_a_late_mail_until_the_morning():
    late = dt.datetime(2026, 12, 1, 3, 10, tzinfo=UTC)  # 22:10 in New York
    assert after_mail_free(late, 21 * 60, 7 * 60, NEW_YORK) == dt.datetime(2026, 12, 1, 12, 0, tzinfo=UTC)
    assert after_mail_free(late, 7 * 60, 7 * 60, NEW_YORK) == late
    noon = dt.datetime(2026, 12, 1, 17, 0, tzinfo=UTC)
    assert after_mail_free(noon, 21 * 60, 7 * 60, NEW_YORK) == noon


def test_a_minute_outside_the_day_is_refused():
    with pytest.raises(ValueError, match="minute 1441, allowed 0 to 1440"):
        after_mail_free(dt.datetime(2026, 1, 1, tzinfo=UTC), 1441, 0, NEW_YORK)
