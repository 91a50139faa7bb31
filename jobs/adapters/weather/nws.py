"""The public grid forecast of the US National Weather Service, as JSON, into hours.

Each layer lists values over intervals (``2026-05-12T06:00:00+00:00/PT6H``). Values that hold throughout are
repeated for every hour; amounts are totals of their interval and are divided. Wind is the largest prevailing wind
at 10 m, cloud is total cover (slightly more than opaque). Rain amounts are published for about three days only:
later hours are gaps.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any, Final, NamedTuple

import numpy as np

from jobs.adapters.weather.forecast import HOURS_MOST, FeedError, Forecast, decoded, instant_of, number_of, unit_of
from jobs.physics.units import duration_h
from jobs.physics.validity import FloatArray
from jobs.timeline.weather import HourlyWeather

HOUR: Final = timedelta(hours=1)


class Layer(NamedTuple):
    """A layer of the grid: our field, whether it is an amount, and the unit it has when none is said."""

    field: str
    amount: bool = False
    silent_unit: str | None = None


LAYERS: Final[Mapping[str, Layer]] = {
    "temperature": Layer("temp_air_c"),
    "dewpoint": Layer("dew_point_c"),
    "relativeHumidity": Layer("relative_humidity"),
    "windSpeed": Layer("wind_m_s"),
    "quantitativePrecipitation": Layer("rain_mm", amount=True),
    "probabilityOfPrecipitation": Layer("rain_probability"),
    "skyCover": Layer("cloud_cover"),
    "pressure": Layer("pressure_kpa"),
    "probabilityOfThunder": Layer("thunder_probability", silent_unit="percent"),
}
NEEDED: Final = ("temperature", "windSpeed")
# words of coverage or certainty as chances, middle of the service's ranges [M]
COVERAGE: Final[Mapping[str, float]] = {
    "isolated": 0.2,
    "slight_chance": 0.2,
    "patchy": 0.3,
    "scattered": 0.4,
    "chance": 0.4,
    "likely": 0.65,
    "numerous": 0.65,
    "widespread": 0.9,
    "definite": 0.9,
    "occasional": 0.9,
    "frequent": 0.9,
}
COVERAGE_UNSAID: Final = 0.5


class Interval(NamedTuple):
    """A stretch of whole hours."""

    begin: datetime
    hours: int


class GridPlace(NamedTuple):
    """Where the grid forecast of a point is found."""

    url: str
    zone: str


def parse_place(body: bytes) -> GridPlace:
    """The grid address and time zone of a point.

    Raises
    ------
    FeedError
        If the answer has no grid address.
    """
    properties = _properties(decoded(body))
    url = properties.get("forecastGridData")
    if not isinstance(url, str) or not url:
        raise FeedError("the answer for the point names no grid forecast; the point may lie outside the service.")
    return GridPlace(url, str(properties.get("timeZone") or ""))


def parse_grid(body: bytes) -> Forecast:
    """Hours of a grid forecast, from the first to the last that has a temperature.

    Raises
    ------
    FeedError
        If a needed layer is missing, an interval or unit cannot be read, or a value cannot be weather: named by
        field and hour.
    """
    properties = _properties(decoded(body))
    begin, hours = _span(properties)
    fields: dict[str, FloatArray] = {}
    for name, layer in LAYERS.items():
        values = _values(properties.get(name), name)
        if not values and name in NEEDED:
            raise FeedError(f"the grid forecast has no layer {name}.")
        if values:
            unit = unit_of(properties[name].get("uom") or layer.silent_unit, name)
            fields[layer.field] = _hourly(values, name, layer, unit, begin, hours)
    storms = _storms(properties.get("weather"), begin, hours)
    if "thunder_probability" not in fields and storms is not None:
        fields["thunder_probability"] = storms
    fields.setdefault("rain_mm", np.full(hours, np.nan))
    if not {"dew_point_c", "relative_humidity"} & set(fields):
        raise FeedError("the grid forecast has neither dew point nor relative humidity.")
    known = np.flatnonzero(np.isfinite(fields["temp_air_c"]))
    if not known.size:
        raise FeedError("the grid forecast has no temperature.", temporary=True)
    first, last = int(known[0]), int(known[-1]) + 1
    cut: dict[str, Any] = {key: array[first:last] for key, array in fields.items()}
    try:
        weather = HourlyWeather.of(begin + first * HOUR, **cut)
    except ValueError as error:
        raise FeedError(str(error)) from None
    issued = properties.get("updateTime")
    return Forecast(weather, instant_of(issued, "updateTime") if issued else None)


def interval_of(text: object, field: str) -> Interval:
    """``start/duration`` in whole hours.

    Raises
    ------
    FeedError
        For a text that is no such interval, or is not made of whole hours.
    """
    start, slash, length = str(text).partition("/")
    begin = instant_of(start, field)
    try:
        hours = duration_h(length) if slash else 1.0
    except ValueError as error:
        raise FeedError(f"{field}: {error}") from None
    if hours != int(hours) or not 1 <= hours <= HOURS_MOST or begin.minute or begin.second:
        raise FeedError(f"{field} has the interval {text!r}; whole hours are needed, 1 to {HOURS_MOST}.")
    return Interval(begin, int(hours))


def _properties(answer: Mapping[str, Any]) -> dict[str, Any]:
    found = answer.get("properties", answer)
    if not isinstance(found, dict):
        raise FeedError("the answer has no properties.")
    return found


def _values(layer: object, name: str) -> list[tuple[Interval, Any]]:
    if layer is None:
        return []
    entries = layer.get("values") if isinstance(layer, dict) else None
    if not isinstance(entries, list) or any(not isinstance(entry, dict) for entry in entries):
        raise FeedError(f"layer {name} has no list of values.")
    return [(interval_of(entry.get("validTime"), name), entry.get("value")) for entry in entries]


def _span(properties: Mapping[str, Any]) -> Interval:
    """First hour and number of hours that any temperature covers."""
    intervals = [interval for interval, _ in _values(properties.get("temperature"), "temperature")]
    if not intervals:
        raise FeedError("the grid forecast has no layer temperature.")
    begin = min(interval.begin for interval in intervals)
    end = max(interval.begin + interval.hours * HOUR for interval in intervals)
    hours = round((end - begin) / HOUR)
    if hours > HOURS_MOST:
        raise FeedError(f"the grid forecast covers {hours} h; allowed is 1 to {HOURS_MOST}.")
    return Interval(begin, hours)


def _hourly(
    values: list[tuple[Interval, Any]], name: str, layer: Layer, unit: tuple[float, float], begin: datetime, hours: int
) -> FloatArray:
    array = np.full(hours, np.nan)
    factor, offset = unit
    for interval, value in values:
        amount = number_of(value, name) * factor + offset
        if layer.amount:
            amount /= interval.hours
        array[_places(interval, begin, hours)] = amount
    return array


def _places(interval: Interval, begin: datetime, hours: int) -> slice:
    first = round((interval.begin - begin) / HOUR)
    return slice(min(max(first, 0), hours), min(max(first + interval.hours, 0), hours))


def _storms(layer: object, begin: datetime, hours: int) -> FloatArray | None:
    """Chance of thunder by the words of the weather layer; None if there is no such layer."""
    values = _values(layer, "weather")
    if not values:
        return None
    array = np.zeros(hours)
    for interval, kinds in values:
        for kind in kinds if isinstance(kinds, list) else []:
            if isinstance(kind, dict) and "thunder" in str(kind.get("weather")):
                chance = COVERAGE.get(str(kind.get("coverage")), COVERAGE_UNSAID)
                where = _places(interval, begin, hours)
                array[where] = np.maximum(array[where], chance)
    return array
