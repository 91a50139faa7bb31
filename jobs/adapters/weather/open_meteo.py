"""Forecast JSON in the form of the open-source Open-Meteo server, single or ensemble, into hours.

A value belongs to the end of its hour; rain and irradiance are those of the hour before the stamp, which is the
same convention as ours. Older answers spell names without underscores; both are read. Data of the public service
are CC BY 4.0 and free for non-commercial use; the server may be run by oneself.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any, Final

import numpy as np

from jobs.adapters.weather.forecast import HOURS_MOST, FeedError, Forecast, decoded, number_of, plausible, unit_of
from jobs.physics.validity import FloatArray
from jobs.timeline.weather import HourlyWeather, stacked

HOUR: Final = timedelta(hours=1)
DAY_S: Final = 86_400
# spelling without underscores: our field
NAMES: Final[Mapping[str, str]] = {
    "temperature2m": "temp_air_c",
    "dewpoint2m": "dew_point_c",
    "relativehumidity2m": "relative_humidity",
    "windspeed10m": "wind_m_s",
    "precipitation": "rain_mm",
    "precipitationprobability": "rain_probability",
    "shortwaveradiation": "ghi_w_m2",
    "cloudcover": "cloud_cover",
    "surfacepressure": "pressure_kpa",
    "thunderstormprobability": "thunder_probability",
}
HOURLY: Final = (
    "temperature_2m",
    "relative_humidity_2m",
    "dew_point_2m",
    "precipitation",
    "precipitation_probability",
    "wind_speed_10m",
    "shortwave_radiation",
    "cloud_cover",
    "surface_pressure",
    "weather_code",
)  # to ask for
CODES: Final = "weathercode"
THUNDER_CODES: Final = (95.0, 96.0, 99.0)  # of WMO table 4677 as the server uses it
THUNDER_CHANCE: Final = 0.5  # that a forecast code stands for [CP]
_MEMBER: Final = re.compile(r"_member(\d{1,3})$")


def parse_forecast(body: bytes) -> Forecast:
    """Hours of a forecast; with members of an ensemble beside the control run.

    Raises
    ------
    FeedError
        For the server's own refusal, missing names, hours that are not one after the other, unknown units, or
        values that cannot be weather: named by field and hour.
    """
    answer = decoded(body)
    if answer.get("error"):
        raise FeedError(f"the weather server refuses: {answer.get('reason', 'no reason given')}")
    hourly, units = answer.get("hourly"), answer.get("hourly_units")
    if not isinstance(hourly, dict) or not isinstance(units, dict):
        raise FeedError("the answer has no hourly values with their units.")
    start, count = _hours(hourly.get("time"), units.get("time"), answer.get("utc_offset_seconds", 0))
    runs: dict[int, dict[str, FloatArray]] = {}
    for name, values in hourly.items():
        number, field = _field(name)
        if field is not None:
            runs.setdefault(number, {})[field] = _column(name, field, values, units.get(name), count)
    control = _weather(start, runs.pop(0, {}), count)
    members = [_weather(start, {**run}, count) for _, run in sorted(runs.items())]
    return Forecast(control, None, stacked(members) if members else None)


def _field(name: str) -> tuple[int, str | None]:
    """Number of the ensemble member (0: control) and our field; None for a name that is not used."""
    member = _MEMBER.search(name)
    plain = name[: member.start()] if member else name
    spelling = plain.replace("_", "")
    field = "code" if spelling == CODES else NAMES.get(spelling)
    return int(member.group(1)) if member else 0, field


def _hours(times: object, unit: object, offset_s: object) -> tuple[datetime, int]:
    """Beginning of the first hour and the number of hours; stamps end their hours."""
    if not isinstance(times, list) or not 1 <= len(times) <= HOURS_MOST:
        count = len(times) if isinstance(times, list) else 0
        raise FeedError(f"the answer has {count} hours; allowed is 1 to {HOURS_MOST}.")
    seconds = number_of(offset_s, "utc_offset_seconds")
    if not abs(seconds) <= DAY_S:
        raise FeedError(f"utc_offset_seconds is {seconds:g} s; allowed is {-DAY_S} to {DAY_S} s.")
    offset = timedelta(seconds=seconds)
    stamps = [_stamp(one, unit == "unixtime", offset) for one in times]
    for before, after in pairwise(stamps):
        if after - before != HOUR:
            raise FeedError(
                f"hour {after:%Y-%m-%d %H:%M} UTC does not follow {before:%Y-%m-%d %H:%M} UTC; ask for times in GMT."
            )
    first = stamps[0] - HOUR
    if first.minute or first.second:
        raise FeedError(f"the first hour is {stamps[0]:%H:%M} UTC, which is no whole hour; ask for times in GMT.")
    return first, len(stamps)


def _stamp(value: object, unix: bool, offset: timedelta) -> datetime:
    try:
        local = datetime.fromtimestamp(number_of(value, "time"), UTC) if unix else datetime.fromisoformat(str(value))
    except (ValueError, OverflowError, OSError):
        raise FeedError(f"time holds {str(value)[:40]!r}, which is no time.") from None
    return plausible(local, "time").replace(tzinfo=UTC) - (timedelta(0) if unix else offset)


def _column(name: str, field: str, values: object, unit: object, count: int) -> FloatArray:
    if not isinstance(values, list) or len(values) != count:
        given = len(values) if isinstance(values, list) else 0
        raise FeedError(f"{name} has {given} values; there are {count} hours.")
    array = np.array([number_of(value, name) for value in values])
    if field == "code":
        return np.where(np.isnan(array), np.nan, np.where(np.isin(array, THUNDER_CODES), THUNDER_CHANCE, 0.0))
    factor, offset = unit_of(unit, name)
    return array * factor + offset


def _weather(start: datetime, run: dict[str, FloatArray], count: int) -> HourlyWeather:
    codes = run.pop("code", None)
    if codes is not None:
        run.setdefault("thunder_probability", codes)
    missing = {"temp_air_c", "wind_m_s"} - set(run)
    if missing or not {"dew_point_c", "relative_humidity"} & set(run):
        raise FeedError("the answer needs temperature, wind, and dew point or humidity for every run.")
    run.setdefault("rain_mm", np.full(count, np.nan))
    given: dict[str, Any] = dict(run)
    try:
        return HourlyWeather.of(start, **given)
    except ValueError as error:
        raise FeedError(str(error)) from None
