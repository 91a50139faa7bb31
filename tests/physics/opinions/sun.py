"""pvlib and astral on the place of the sun and the hours of light."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone

import numpy as np
import pandas as pd
from astral import Observer
from astral.sun import dawn, dusk, sunrise, sunset
from numpy.typing import NDArray
from pvlib.solarposition import spa_python

from jobs.physics.sun import azimuth_deg, civil_dawn_dusk, sunrise_sunset, zenith_deg
from tests.physics.opinions.opinion import Numbers, Opinion


def _places_and_times(seed: int, count: int) -> tuple[Numbers, Numbers, NDArray[np.datetime64]]:
    random = np.random.default_rng(seed)
    start = np.datetime64("1995-01-01T00:00:00", "s").astype(np.int64)
    end = np.datetime64("2055-01-01T00:00:00", "s").astype(np.int64)
    times = random.integers(start, end, count).astype("datetime64[s]")
    return random.uniform(-65, 65, count), random.uniform(-180, 180, count), times


def _position(latitude: Numbers, longitude: Numbers, times: NDArray[np.datetime64]) -> dict[str, Numbers]:

    rows = [
        spa_python(pd.DatetimeIndex([t], tz="UTC"), a, b, temperature=12, delta_t=None).iloc[0]
        for a, b, t in zip(latitude, longitude, times, strict=True)
    ]
    return {name: np.array([row[name] for row in rows]) for name in ("apparent_zenith", "azimuth")}


def _where(latitude: Numbers, longitude: Numbers, times: NDArray[np.datetime64]) -> list[str]:
    return [f"lat {a:.2f}, lon {b:.2f}, {t} UTC" for a, b, t in zip(latitude, longitude, times, strict=True)]


def zenith(seed: int, count: int) -> Opinion:
    latitude, longitude, times = _places_and_times(seed, count)
    theirs = _position(latitude, longitude, times)["apparent_zenith"]
    ours = np.array([zenith_deg(a, b, t[None])[0] for a, b, t in zip(latitude, longitude, times, strict=True)])
    up = theirs < 90.5  # refraction stops abruptly once the disc has set
    cases = [case for case, keep in zip(_where(latitude, longitude, times), up, strict=True) if keep]
    return Opinion("pvlib (SPA)", "zenith by day", "deg", ours[up], theirs[up], 0.001, "shortened series", cases)


def azimuth(seed: int, count: int) -> Opinion:
    latitude, longitude, times = _places_and_times(seed, count)
    theirs = _position(latitude, longitude, times)
    ours = np.array([azimuth_deg(a, b, t[None])[0] for a, b, t in zip(latitude, longitude, times, strict=True)])
    apart = (ours - theirs["azimuth"] + 180) % 360 - 180
    side = apart * np.sin(np.radians(theirs["apparent_zenith"]))  # near the zenith the compass direction runs wild
    where = _where(latitude, longitude, times)
    return Opinion("pvlib (SPA)", "azimuth, across the sky", "deg", side, 0 * side, 0.001, "shortened series", where)


def _days(seed: int, count: int) -> list[tuple[float, float, date, timezone]]:
    random = np.random.default_rng(seed)
    longitude = random.uniform(-180, 180, count)
    zones = [timezone(timedelta(hours=round(float(x) / 15))) for x in longitude]
    days = [date(2000, 1, 1) + timedelta(days=int(n)) for n in random.integers(0, 365 * 55, count)]
    return list(zip(map(float, random.uniform(-58, 58, count)), map(float, longitude), days, zones, strict=True))


def sunset_altitude(seed: int, count: int) -> Opinion:
    """Where the library sees the sun at the moments we call sunrise, sunset, dawn and dusk."""

    ours: list[float] = []
    theirs: list[float] = []
    cases: list[str] = []
    for latitude, longitude, day, zone in _days(seed, count):
        for altitude, pair in ((-0.8333, sunrise_sunset), (-6.0, civil_dawn_dusk)):
            for moment in pair(latitude, longitude, day, zone):
                assert abs(moment - datetime(day.year, day.month, day.day, 12, tzinfo=zone)) < timedelta(hours=13)
                seen = spa_python(pd.DatetimeIndex([moment]), latitude, longitude, delta_t=None)["elevation"].iloc[0]
                ours.append(altitude)
                theirs.append(float(seen))
                cases.append(f"lat {latitude:.2f}, lon {longitude:.2f}, {day}")
    why = "parallax, which the definition of sunrise leaves out (0.0024 deg), and the shortened series"
    return Opinion(
        "pvlib (SPA)", "altitude at sunrise ... dusk", "deg", np.array(ours), np.array(theirs), 0.004, why, cases
    )


def dawn_and_dusk(seed: int, count: int) -> Opinion:
    """The nearest event within a day: that library may return its neighbour's in western and eastern zones."""

    ours: list[float] = []
    theirs: list[float] = []
    cases: list[str] = []
    for latitude, longitude, day, zone in _days(seed, count):
        place = Observer(latitude, longitude)
        mine = (*sunrise_sunset(latitude, longitude, day, zone), *civil_dawn_dusk(latitude, longitude, day, zone))
        for moment, event in zip(mine, (sunrise, sunset, dawn, dusk), strict=True):
            near = [event(place, day + timedelta(days=n), tzinfo=UTC) for n in (-1, 0, 1)]
            apart = min(((other - moment).total_seconds() / 60 for other in near), key=abs)
            ours.append(0.0)
            theirs.append(apart)
            cases.append(f"{event.__name__}, lat {latitude:.2f}, lon {longitude:.2f}, {day}")
    why = "its short formulas, and refraction by height of the sun instead of a fixed 0.833 deg"
    return Opinion("astral", "sunrise ... dusk", "min", np.array(ours), np.array(theirs), 1.2, why, cases)
