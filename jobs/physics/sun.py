"""Where the sun stands, and when it is light enough to work.

A shortened form of the solar position algorithm of Reda and Andreas [RA04], within 0.001 degrees of the
full one from 1990 to 2060. Nothing here reads a clock: days and times are arguments.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from jobs.physics import sun_series
from jobs.physics.validity import FloatArray, in_range, plain

Times = datetime | Sequence[datetime] | NDArray[np.datetime64]

SUNRISE_ALTITUDE_DEG: Final = -0.8333  # upper rim at the horizon with standard refraction [RA04]
CIVIL_TWILIGHT_DEG: Final = -6.0  # centre of the sun, by definition of civil twilight
TERRESTRIAL_LEAD_S: Final = 69.0  # terrestrial less universal time, 2024; 5 s more move the sun by 0.00006 deg
STANDARD_PRESSURE_HPA: Final = 1013.25
STANDARD_TEMP_C: Final = 12.0  # of the air, for refraction, as in [RA04]
_J2000_UNIX_S: Final = 946_728_000.0  # 2000-01-01 12:00 UTC
_CENTURY_D: Final = 36_525.0
_DAY_S: Final = 86_400.0
_PARALLAX_DEG: Final = 8.794 / 3600  # of the sun at the mean distance [RA04]
_ABERRATION_DEG: Final = -20.4898 / 3600  # at the mean distance [RA04]


class SunPlace(NamedTuple):
    """Direction of the sun seen from the centre of the earth, arrays over time [deg]."""

    right_ascension: FloatArray
    declination: FloatArray
    greenwich_sidereal: FloatArray
    distance_au: FloatArray


def zenith_deg(
    latitude_deg: float,
    longitude_deg: float,
    times_utc: Times,
    *,
    elevation_m: float = 0.0,
    pressure_hpa: float = STANDARD_PRESSURE_HPA,
    temp_c: float = STANDARD_TEMP_C,
    refraction: bool = True,
) -> float | FloatArray:
    """Angle between the sun and straight up: 0 overhead, about 90 at sunrise, more at night.

    Parameters
    ----------
    latitude_deg : [deg], -90 to 90, north positive
    longitude_deg : [deg], -180 to 180, east positive
    times_utc : aware datetime, sequence of them, or numpy datetime64 in UTC, 1990 to 2060
    elevation_m : [m], -500 to 9000;  pressure_hpa : [hPa], 300 to 1100;  temp_c : [degC], -60 to 60, of the
        air
    refraction : False for the direction without the air

    Returns
    -------
    [deg], shape of *times_utc*

    Raises
    ------
    ValueError
        Outside the ranges, or for times without a zone.
    """
    altitude, _ = _horizontal(latitude_deg, longitude_deg, times_utc, elevation_m)
    if refraction:
        altitude = altitude + _refraction_deg(altitude, pressure_hpa, temp_c)
    return plain(90 - altitude)


def azimuth_deg(
    latitude_deg: float, longitude_deg: float, times_utc: Times, *, elevation_m: float = 0.0
) -> float | FloatArray:
    """Compass direction of the sun [deg], clockwise from north; arguments and errors as in :func:`zenith_deg`."""
    return plain(_horizontal(latitude_deg, longitude_deg, times_utc, elevation_m)[1])


def sunrise_sunset(latitude_deg: float, longitude_deg: float, day: date, zone: tzinfo) -> tuple[datetime, datetime]:
    """Sunrise and sunset of a local day, in UTC.

    The day is the site's own: the sunset of a western zone that falls on the next day in UTC is the right
    one. Where the sun does not set, the local day from midnight to midnight; where it does not rise, solar
    noon twice.

    Parameters
    ----------
    latitude_deg, longitude_deg : [deg], north and east positive
    day : local date, 1990 to 2060
    zone : time zone of the site

    Raises
    ------
    ValueError
        Outside the ranges.
    """
    return _passages(latitude_deg, longitude_deg, day, zone, SUNRISE_ALTITUDE_DEG)


def civil_dawn_dusk(latitude_deg: float, longitude_deg: float, day: date, zone: tzinfo) -> tuple[datetime, datetime]:
    """First and last light to work by: the sun 6 degrees below the horizon; else as :func:`sunrise_sunset`."""
    return _passages(latitude_deg, longitude_deg, day, zone, CIVIL_TWILIGHT_DEG)


def _passages(
    latitude_deg: float, longitude_deg: float, day: date, zone: tzinfo, altitude_deg: float
) -> tuple[datetime, datetime]:
    latitude, longitude = _place(latitude_deg, longitude_deg)
    transit = np.asarray(datetime.combine(day, time(12), zone).timestamp())
    for _ in range(2):
        transit = transit - _seconds(_hour_angle_deg(_sun_place(transit), longitude))
    place = _sun_place(transit)
    half = _half_arc_deg(place, latitude, altitude_deg)
    if np.isnan(half):
        return _whole_day_or_none(float(transit), float(place.declination), latitude, day, zone, altitude_deg)
    sides = np.array([-1.0, 1.0])
    events = transit + _seconds(sides * half)
    for _ in range(4):
        place = _sun_place(events)
        step = _seconds(sides * _half_arc_deg(place, latitude, altitude_deg) - _hour_angle_deg(place, longitude))
        events = events + np.nan_to_num(step)  # the arc may end within the day, at the edge of the polar day
    return datetime.fromtimestamp(float(events[0]), UTC), datetime.fromtimestamp(float(events[1]), UTC)


def _whole_day_or_none(
    transit: float, declination: float, latitude: float, day: date, zone: tzinfo, altitude_deg: float
) -> tuple[datetime, datetime]:
    if 90 - abs(latitude - declination) > altitude_deg:
        start = datetime.combine(day, time(0), zone).astimezone(UTC)
        return start, datetime.combine(day + timedelta(days=1), time(0), zone).astimezone(UTC)
    highest = datetime.fromtimestamp(transit, UTC)
    return highest, highest


def _half_arc_deg(place: SunPlace, latitude: float, altitude_deg: float) -> FloatArray:
    """Hour angle at which the sun passes the altitude, NaN where it never does with this declination."""
    phi, delta = np.radians(latitude), np.radians(place.declination)
    cosine = (np.sin(np.radians(altitude_deg)) - np.sin(phi) * np.sin(delta)) / (np.cos(phi) * np.cos(delta))
    return np.degrees(np.arccos(np.where(np.abs(cosine) <= 1, cosine, np.nan)))


def _hour_angle_deg(place: SunPlace, longitude: float) -> FloatArray:
    return (place.greenwich_sidereal + longitude - place.right_ascension + 180) % 360 - 180


def _seconds(angle_deg: FloatArray) -> FloatArray:
    return angle_deg / 360 * _DAY_S


def _place(latitude_deg: float, longitude_deg: float) -> tuple[float, float]:
    latitude = float(in_range("latitude", latitude_deg, -90, 90, "degrees"))
    return latitude, float(in_range("longitude", longitude_deg, -180, 180, "degrees"))


def _horizontal(
    latitude_deg: float, longitude_deg: float, times_utc: Times, elevation_m: float
) -> tuple[FloatArray, FloatArray]:
    """Altitude without refraction and azimuth, both [deg], seen from the ground."""
    latitude, longitude = _place(latitude_deg, longitude_deg)
    elevation = float(in_range("elevation", elevation_m, -500, 9000, "m"))
    place = _sun_place(_unix_s(times_utc))
    phi, delta = np.radians(latitude), np.radians(place.declination)
    hour = np.radians(place.greenwich_sidereal + longitude - place.right_ascension)
    sine = np.sin(phi) * np.sin(delta) + np.cos(phi) * np.cos(delta) * np.cos(hour)
    altitude = np.degrees(np.arcsin(np.clip(sine, -1, 1)))
    radii = 1 + elevation / 6_378_140  # of the earth's radius [RA04]
    altitude = altitude - _PARALLAX_DEG / place.distance_au * radii * np.cos(np.radians(altitude))
    from_south = np.arctan2(np.sin(hour), np.cos(hour) * np.sin(phi) - np.tan(delta) * np.cos(phi))
    return altitude, (np.degrees(from_south) + 180) % 360


def _refraction_deg(altitude: FloatArray, pressure_hpa: float, temp_c: float) -> FloatArray:
    pressure = float(in_range("air pressure", pressure_hpa, 300, 1100, "hPa"))
    temp = float(in_range("air temperature", temp_c, -60, 60, "degC"))
    air = pressure / 1010 * 283 / (273 + temp)
    seen = np.maximum(altitude, -1.0)
    lifted = air * 1.02 / (60 * np.tan(np.radians(seen + 10.3 / (seen + 5.11))))
    return np.where(altitude >= -0.26667 - 0.5667, lifted, 0.0)  # none once the whole disc has set [RA04]


def _unix_s(times_utc: Times) -> FloatArray:
    if isinstance(times_utc, datetime):
        return np.asarray(_aware(times_utc))
    if isinstance(times_utc, np.ndarray) and np.issubdtype(times_utc.dtype, np.datetime64):
        if np.any(np.isnat(times_utc)):
            raise ValueError("a time is missing; every time must be a date with an hour.")
        return np.asarray(times_utc.astype("datetime64[ms]").astype(np.int64) / 1000.0)
    return np.asarray([_aware(moment) for moment in times_utc], dtype=np.float64)


def _aware(moment: datetime) -> float:
    if moment.tzinfo is None:
        raise ValueError(f"time {moment.isoformat()} has no zone; give it in UTC or with its offset.")
    return moment.timestamp()


def _sun_place(unix_s: FloatArray) -> SunPlace:
    days = (unix_s - _J2000_UNIX_S) / _DAY_S
    in_range("year", 2000 + days / 365.25, 1990, 2061, "")
    century = (days + TERRESTRIAL_LEAD_S / _DAY_S) / _CENTURY_D
    t = century / 10
    longitude = _series(sun_series.LONGITUDE_0, t) + t * _series(sun_series.LONGITUDE_1, t)
    longitude = np.degrees(longitude + t**2 * _series(sun_series.LONGITUDE_2, t)) + 180
    latitude = -_series(sun_series.LATITUDE_0, t)
    distance = _series(sun_series.DISTANCE_0, t) + t * _series(sun_series.DISTANCE_1, t)
    shift, tilt = _nutation_deg(century)
    obliquity = 23.4392911 - 0.0130042 * century + tilt
    seen, epsilon = np.radians(longitude + shift + _ABERRATION_DEG / distance), np.radians(obliquity)
    ascension = np.arctan2(np.sin(seen) * np.cos(epsilon) - np.tan(latitude) * np.sin(epsilon), np.cos(seen))
    sine = np.sin(latitude) * np.cos(epsilon) + np.cos(latitude) * np.sin(epsilon) * np.sin(seen)
    sidereal = 280.46061837 + 360.98564736629 * days + shift * np.cos(epsilon)
    return SunPlace(np.degrees(ascension), np.degrees(np.arcsin(sine)), sidereal % 360, distance)


def _series(terms: FloatArray, t: FloatArray) -> FloatArray:
    amplitude, phase, rate = terms.T
    summed: FloatArray = np.cos(phase + np.multiply.outer(t, rate)) @ amplitude
    return summed * 1e-8


def _nutation_deg(century: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Nutation in longitude and in obliquity [deg]."""
    node = np.radians(125.04452 - 1934.136261 * century)
    sun = np.radians(2 * (280.4665 + 36000.7698 * century))
    moon = np.radians(2 * (218.3165 + 481267.8813 * century))
    shift, tilt = np.zeros_like(century), np.zeros_like(century)
    for (of_node, of_sun, of_moon), sine, cosine in sun_series.NUTATION:
        angle = of_node * node + of_sun * sun + of_moon * moon
        shift, tilt = shift + sine * np.sin(angle), tilt + cosine * np.cos(angle)
    return shift / 3600, tilt / 3600
