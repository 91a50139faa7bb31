"""I. Reda and A. Andreas (2004), NREL/TP-560-34302, the example and sun times run with pvlib."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta, timezone
from zoneinfo import ZoneInfo

import pandas as pd
import pvlib
import pytest

from jobs.physics.sun import SUNRISE_ALTITUDE_DEG, azimuth_deg, sunrise_sunset, zenith_deg
from tests.published.rows import Record, Row, Runs, agree, every_row, row


def zenith(row: Row) -> float:
    moment = datetime.fromisoformat(row["time"])
    pressure, temp = row["pressure_mbar"], row["temp_C"]
    return float(
        zenith_deg(row["lat"], row["lon"], moment, elevation_m=row["elevation_m"], pressure_hpa=pressure, temp_c=temp)
    )


def azimuth(row: Row) -> float:
    moment = datetime.fromisoformat(row["time"])
    return float(azimuth_deg(row["lat"], row["lon"], moment, elevation_m=row["elevation_m"]))


def seconds_after_midnight(row: Row, which: int) -> float:
    if "tz" in row.inputs:
        day, zone = date.fromisoformat(row["date"]), ZoneInfo(row["tz"])
        midnight = datetime.combine(day, time(0), zone)
        return (sunrise_sunset(row["lat"], row["lon"], day, zone)[which] - midnight).total_seconds()
    moment = datetime.fromisoformat(row["time"])
    assert moment.tzinfo is not None
    midnight = datetime.combine(moment.date(), time(0), moment.tzinfo)
    return (sunrise_sunset(row["lat"], row["lon"], moment.date(), moment.tzinfo)[which] - midnight).total_seconds()


def rise_min(row: Row) -> float:
    return seconds_after_midnight(row, 0) / 60


def set_min(row: Row) -> float:
    return seconds_after_midnight(row, 1) / 60


RUNS: Runs = {
    "SUN-1": zenith,
    "SUN-2": azimuth,
    "SUN-3": lambda row: seconds_after_midnight(row, 0),
    "SUN-4": lambda row: seconds_after_midnight(row, 1),
    "SUN-A1-rise": rise_min,
    "SUN-A1-set": set_min,
    "SUN-A2-rise": rise_min,
    "SUN-A2-set": set_min,
    "SUN-A3-rise": rise_min,
    "SUN-A3-set": set_min,
    "SUN-A4-rise": rise_min,
    "SUN-A4-set": set_min,
}


@every_row(RUNS)
def test_the_sun_stands_where_it_should(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)


@pytest.mark.parametrize("row_id", ["SUN-4", "SUN-A4-set"])
def test_the_disputed_sunsets_are_those_of_the_day_before(row_id: str) -> None:
    """By the position of the same library: at the row's moment the sun is long down, at ours it is just setting."""
    disputed = row(row_id)
    zone = ZoneInfo(disputed["tz"]) if "tz" in disputed.inputs else timezone(timedelta(hours=-7))
    day = date.fromisoformat((disputed.inputs.get("date") or disputed["time"])[:10])
    seconds = disputed.expected * (60 if disputed.units.startswith("min") else 1)
    after_midnight = timedelta(seconds=float(seconds))
    claimed = datetime.combine(day, time(0), zone) + after_midnight
    _, ours = sunrise_sunset(disputed["lat"], disputed["lon"], day, zone)
    _, day_before = sunrise_sunset(disputed["lat"], disputed["lon"], day - timedelta(days=1), zone)
    moments = pd.to_datetime([claimed, ours, claimed - timedelta(days=1)], utc=True)
    seen = pvlib.solarposition.spa_python(moments, disputed["lat"], disputed["lon"])["elevation"]
    assert seen.iloc[0] < -1.1
    assert seen.iloc[1] == pytest.approx(SUNRISE_ALTITUDE_DEG, abs=0.005)
    assert seen.iloc[2] == pytest.approx(SUNRISE_ALTITUDE_DEG, abs=0.005)
    assert abs((claimed - timedelta(days=1) - day_before).total_seconds()) < 2
