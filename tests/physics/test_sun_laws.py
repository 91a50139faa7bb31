"""Laws of day and night that hold at every place."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.physics.sun import azimuth_deg, civil_dawn_dusk, sunrise_sunset, zenith_deg
from tests.physics.laws import LAW, between

latitude, longitude = between(-60, 60), between(-180, 180)
days = st.dates(date(1991, 1, 1), date(2059, 12, 31))


def zone_of(longitude_deg: float) -> timezone:
    return timezone(timedelta(hours=round(longitude_deg / 15)))


@LAW
@given(latitude, longitude, days)
def test_dawn_sunrise_sunset_and_dusk_follow_each_other_within_the_local_day(a: float, b: float, day: date) -> None:
    zone = zone_of(b)
    rise, fall = sunrise_sunset(a, b, day, zone)
    dawn, dusk = civil_dawn_dusk(a, b, day, zone)
    noon = datetime.combine(day, time(12), zone)
    assert dawn < rise < noon + timedelta(hours=1.1)
    assert noon - timedelta(hours=1.1) < fall < dusk
    assert timedelta(0) < noon - dawn < timedelta(hours=13)
    assert timedelta(0) < dusk - noon < timedelta(hours=13)
    assert rise.tzinfo is UTC


@LAW
@given(between(-55, 55), longitude, days)
def test_the_sun_is_highest_halfway_between(a: float, b: float, day: date) -> None:
    rise, fall = sunrise_sunset(a, b, day, zone_of(b))
    middle = rise + (fall - rise) / 2
    around = [middle + timedelta(minutes=m) for m in (-90, 0, 90)]
    early, high, late = zenith_deg(a, b, around)
    assert high < min(early, late)
    assert zenith_deg(a, b, rise, refraction=False) == pytest.approx(90.8333, abs=0.004)  # upper rim and refraction


@LAW
@given(latitude, longitude, days)
def test_tomorrow_is_much_like_today(a: float, b: float, day: date) -> None:
    """No day is skipped or taken twice, in whatever zone: the sunset moves by less than 6 minutes a day."""
    _, today = sunrise_sunset(a, b, day, zone_of(b))
    _, tomorrow = sunrise_sunset(a, b, day + timedelta(days=1), zone_of(b))
    assert abs(tomorrow - today - timedelta(days=1)) < timedelta(minutes=6)


@LAW
@given(between(-89, 89), longitude, days, st.integers(0, 23))
def test_angles_stay_in_their_ranges_and_arrays_give_what_scalars_give(
    a: float, b: float, day: date, hour: int
) -> None:
    moment = datetime.combine(day, time(hour), UTC)
    high, round_about = zenith_deg(a, b, moment), azimuth_deg(a, b, moment)
    assert isinstance(high, float) and 0 <= high <= 180
    assert isinstance(round_about, float) and 0 <= round_about < 360
    stamps = np.array([moment.replace(tzinfo=None)], dtype="datetime64[s]")
    assert zenith_deg(a, b, stamps)[0] == pytest.approx(high)


def test_the_air_lifts_the_low_sun_by_half_a_degree() -> None:
    rise, _ = sunrise_sunset(36, -80, date(2024, 4, 15), ZoneInfo("America/New_York"))
    soon = rise + timedelta(minutes=1)
    assert zenith_deg(36, -80, soon, refraction=False) - zenith_deg(36, -80, soon) == pytest.approx(0.55, abs=0.05)


def test_the_sunset_of_a_western_zone_belongs_to_the_local_day() -> None:
    zone = ZoneInfo("America/Los_Angeles")
    for month in range(1, 13):
        for moment in (*sunrise_sunset(38.58, -121.49, date(2024, month, 20), zone),):
            assert moment.astimezone(zone).date() == date(2024, month, 20)


def test_where_the_sun_does_not_set_the_light_lasts_the_local_day() -> None:
    zone = ZoneInfo("America/Anchorage")
    dawn, dusk = civil_dawn_dusk(68, -150, date(2024, 6, 21), zone)
    assert dusk - dawn == timedelta(hours=24)
    assert dawn.astimezone(zone).time() == time(0)


def test_where_the_sun_does_not_rise_there_is_no_light() -> None:
    dawn, dusk = civil_dawn_dusk(82, 20, date(2024, 12, 21), UTC)
    assert dawn == dusk


@pytest.mark.parametrize(
    ("times", "words"),
    [
        (datetime(2024, 5, 1, 12), "has no zone"),  # noqa: DTZ001  without a zone on purpose
        (np.array(["NaT"], dtype="datetime64[s]"), "a time is missing"),
        (datetime(1850, 1, 1, tzinfo=UTC), "year is"),
    ],
)
def test_times_that_mean_nothing_are_refused(times: object, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        zenith_deg(40, -100, times)  # type: ignore[arg-type]  # wrong on purpose


@LAW
@given(st.sampled_from([-1, 1]), between(60, 90), longitude, days)
def test_near_the_poles_light_never_ends_before_it_begins(side: int, a: float, b: float, day: date) -> None:
    dawn, dusk = civil_dawn_dusk(side * a, b, day, zone_of(b))
    rise, fall = sunrise_sunset(side * a, b, day, zone_of(b))
    assert dawn <= dusk
    assert rise <= fall
    assert fall - rise <= dusk - dawn + timedelta(hours=2)  # a polar day is counted from midnight to midnight
    assert dusk - dawn <= timedelta(hours=25)
