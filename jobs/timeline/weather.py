"""Hour-by-hour weather of one place: the only form in which the timeline sees weather.

Hour *i* is the interval from ``start + i h`` to ``start + (i + 1) h``, in UTC. Rain is the total and global
irradiance the mean of that hour; probabilities belong to it; every other quantity is the value at its end
(the hour-ending habit of typical-year files). NaN is a gap: nothing is filled silently.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import datetime
from itertools import pairwise
from typing import Any, NamedTuple
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import ArrayLike, NDArray

from jobs.physics.validity import FloatArray
from jobs.timeline.weather_quantities import (
    HOUR,
    QUANTITIES,
    REQUIRED,
    as_utc,
    complete_humidity,
    refuse_absurd,
    stamp,
    whole_utc_hour,
)


class Gap(NamedTuple):
    """Consecutive hours without a value of one field (in any scenario)."""

    field: str
    begins: datetime
    hours: int

    def __str__(self) -> str:
        return f"{QUANTITIES[self.field].words} is missing for {self.hours} h from {stamp(self.begins)}"


class Moment(NamedTuple):
    """The weather at one instant, scalars or arrays [scenario]."""

    temp_air_c: FloatArray
    dew_point_c: FloatArray
    relative_humidity: FloatArray
    wind_m_s: FloatArray
    rain_mm: FloatArray
    rain_probability: FloatArray
    ghi_w_m2: FloatArray
    cloud_cover: FloatArray
    pressure_kpa: FloatArray
    thunder_probability: FloatArray


@dataclass(frozen=True, eq=False)
class HourlyWeather:
    """Weather of consecutive hours, one course or many scenarios.

    Parameters
    ----------
    start : beginning of the first hour; aware, a whole hour; kept in UTC
    temp_air_c, dew_point_c : [C]
    relative_humidity, rain_probability, cloud_cover, thunder_probability : fractions 0 to 1
    wind_m_s : mean wind 10 m above ground [m/s]
    rain_mm : total of the hour [mm]
    ghi_w_m2 : mean global horizontal irradiance of the hour [W/m2]
    pressure_kpa : at the station [kPa]

    Each array is [hour] or [scenario, hour]; all are broadcast to one shape and made read-only. NaN is a gap.

    Raises
    ------
    ValueError
        If the start is not an aware whole hour, shapes differ, or a value cannot be weather; the sentence
        names the quantity, the value, the hour and the allowed range.
    """

    start: datetime
    temp_air_c: FloatArray
    dew_point_c: FloatArray
    relative_humidity: FloatArray
    wind_m_s: FloatArray
    rain_mm: FloatArray
    rain_probability: FloatArray
    ghi_w_m2: FloatArray
    cloud_cover: FloatArray
    pressure_kpa: FloatArray
    thunder_probability: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "start", whole_utc_hour(self.start))
        arrays = {name: np.asarray(getattr(self, name), dtype=np.float64) for name in QUANTITIES}
        shape = _common_shape(arrays)
        for name, array in arrays.items():
            refuse_absurd(name, array, self.start)
            whole = np.broadcast_to(array, shape)
            whole.flags.writeable = False
            object.__setattr__(self, name, whole)

    @classmethod
    def of(
        cls,
        start: datetime,
        *,
        temp_air_c: ArrayLike,
        wind_m_s: ArrayLike,
        rain_mm: ArrayLike,
        dew_point_c: ArrayLike | None = None,
        relative_humidity: ArrayLike | None = None,
        **others: ArrayLike | None,
    ) -> HourlyWeather:
        """Weather from what is known: humidity from the dew point or the other way round, the rest as gaps.

        Raises
        ------
        ValueError
            As the class itself; also when neither dew point nor relative humidity is given.
        TypeError
            For a field that does not exist.
        """
        unknown = sorted(set(others) - set(QUANTITIES))
        if unknown:
            raise TypeError(f"weather has no field {', '.join(unknown)}; it has {', '.join(QUANTITIES)}.")
        begin = whole_utc_hour(start)
        temp = np.asarray(temp_air_c, dtype=np.float64)
        refuse_absurd("temp_air_c", temp, begin)
        dew, humidity = complete_humidity(temp, dew_point_c, relative_humidity, begin)
        known: dict[str, FloatArray] = {
            "temp_air_c": temp,
            "dew_point_c": dew,
            "relative_humidity": humidity,
            "wind_m_s": np.asarray(wind_m_s, dtype=np.float64),
            "rain_mm": np.asarray(rain_mm, dtype=np.float64),
        }
        nothing = np.full(temp.shape[-1:], np.nan)
        for name in QUANTITIES:
            if name not in known:
                given = others.get(name)
                known[name] = nothing if given is None else np.asarray(given, np.float64)
        return cls(start=begin, **known)

    @property
    def hours(self) -> int:
        """Number of hours."""
        return int(self.temp_air_c.shape[-1])

    @property
    def scenarios(self) -> int | None:
        """Number of scenarios; None for a single course."""
        return int(self.temp_air_c.shape[0]) if self.temp_air_c.ndim == 2 else None

    @property
    def end(self) -> datetime:
        """End of the last hour, UTC."""
        return self.start + self.hours * HOUR

    @property
    def absent(self) -> tuple[str, ...]:
        """Fields without a single value."""
        return tuple(name for name in QUANTITIES if bool(np.isnan(getattr(self, name)).all()))

    @property
    def gaps(self) -> tuple[Gap, ...]:
        """Missing hours of every field that a source delivers at all, and of the required ones always."""
        skip = set(self.absent) - set(REQUIRED)
        found: list[Gap] = []
        for name in QUANTITIES:
            if name not in skip:
                missing = np.isnan(getattr(self, name))
                found += _runs(name, missing.any(axis=0) if missing.ndim == 2 else missing, self.start)
        return tuple(found)

    def position(self, when: datetime) -> float:
        """Hours from the start to *when* (an aware datetime), fractional."""
        return (as_utc(when) - self.start) / HOUR

    def slice(self, begin: datetime, end: datetime) -> HourlyWeather:
        """The whole hours that touch the interval.

        Raises
        ------
        ValueError
            If the interval is empty or not inside the weather.
        """
        first, last = int(np.floor(self.position(begin))), int(np.ceil(self.position(end)))
        if not 0 <= first < last <= self.hours:
            raise ValueError(
                f"weather from {stamp(begin)} to {stamp(end)} was asked for; "
                f"there is weather from {stamp(self.start)} to {stamp(self.end)}."
            )
        cut = {name: getattr(self, name)[..., first:last] for name in QUANTITIES}
        return HourlyWeather(start=self.start + first * HOUR, **cut)

    def at(self, when: datetime) -> Moment:
        """The weather at an instant: linear between the ends of hours; hourly totals of the hour around it.

        Raises
        ------
        ValueError
            If the instant is not inside the weather.
        """
        hour = self.position(when)
        if not 0 <= hour <= self.hours:
            raise ValueError(
                f"weather at {stamp(when)} was asked for; there is weather from {stamp(self.start)} "
                f"to {stamp(self.end)}."
            )
        return Moment(*(self.series(name, [hour])[..., 0] for name in QUANTITIES))

    def series(self, field: str, hours: ArrayLike) -> FloatArray:
        """One field at *hours* [k] after the start, held at both ends: [k] or [scenario, k]."""
        values: FloatArray = getattr(self, field)
        wanted = np.asarray(hours, dtype=np.float64)
        if QUANTITIES[field].total_of_hour:
            picked: FloatArray = values[..., np.clip(np.floor(wanted).astype(int), 0, self.hours - 1)]
            return picked
        place = np.clip(wanted - 1.0, 0.0, self.hours - 1.0)
        low = np.minimum(np.floor(place).astype(int), self.hours - 1)
        high = np.minimum(low + 1, self.hours - 1)
        share = place - low
        between: FloatArray = np.where(
            share == 0, values[..., low], values[..., low] * (1 - share) + values[..., high] * share
        )
        return between

    def scenario(self, number: int) -> HourlyWeather:
        """One scenario as a single course (a single course is its own only scenario, number 0)."""
        count = self.scenarios
        if not 0 <= number < (count or 1):
            raise ValueError(f"scenario is {number}; allowed is 0 to {(count or 1) - 1}.")
        if count is None:
            return self
        return HourlyWeather(self.start, *(getattr(self, name)[number] for name in QUANTITIES))

    def with_fields(self, **arrays: ArrayLike) -> HourlyWeather:
        """A copy with some fields replaced."""
        changed: dict[str, Any] = {name: np.asarray(array, np.float64) for name, array in arrays.items()}
        return replace(self, **changed)


_COURSES: WeakKeyDictionary[HourlyWeather, tuple[HourlyWeather, ...]] = WeakKeyDictionary()


def courses(weather: HourlyWeather) -> tuple[HourlyWeather, ...]:
    """The scenarios of the weather as single courses, or the one course; the same objects every time."""
    if weather.scenarios is None:
        return (weather,)
    if weather not in _COURSES:
        _COURSES[weather] = tuple(weather.scenario(number) for number in range(weather.scenarios))
    return _COURSES[weather]


def joined(parts: Sequence[HourlyWeather]) -> HourlyWeather:
    """Weather end to end in time; parts must follow each other without a break.

    Raises
    ------
    ValueError
        If a part does not begin where the one before it ends.
    """
    for before, after in pairwise(parts):
        if before.end != after.start:
            raise ValueError(f"weather ends at {stamp(before.end)} and goes on at {stamp(after.start)}.")
    counts = {part.scenarios for part in parts if part.scenarios}
    if len(counts) > 1:
        raise ValueError(f"parts have {sorted(counts)} scenarios; they must have one number.")
    count = counts.pop() if counts else None

    def whole(name: str) -> FloatArray:
        arrays = [getattr(part, name) for part in parts]
        if count:
            arrays = [np.broadcast_to(a, (count, a.shape[-1])) for a in arrays]
        together: FloatArray = np.concatenate(arrays, axis=-1)
        return together

    return HourlyWeather(parts[0].start, *(whole(name) for name in QUANTITIES))


def stacked(courses: Sequence[HourlyWeather]) -> HourlyWeather:
    """Single courses of the same hours as scenarios [scenario, hour].

    Raises
    ------
    ValueError
        If the courses do not cover the same hours.
    """
    if len({(course.start, course.hours) for course in courses}) != 1:
        raise ValueError("scenarios must cover the same hours.")
    return HourlyWeather(
        courses[0].start, *(np.stack([getattr(course, name) for course in courses]) for name in QUANTITIES)
    )


def _common_shape(arrays: Mapping[str, FloatArray]) -> tuple[int, ...]:
    listed = ", ".join(f"{name} {array.shape}" for name, array in arrays.items())
    sentence_ = f"weather arrays must be [hour] or [scenario, hour] with the same hours: {listed}."
    if any(array.ndim not in (1, 2) for array in arrays.values()):
        raise ValueError(sentence_)
    if len({array.shape[-1] for array in arrays.values()}) != 1 or not arrays["temp_air_c"].shape[-1]:
        raise ValueError(sentence_)
    try:
        return np.broadcast_shapes(*(array.shape for array in arrays.values()))
    except ValueError:
        raise ValueError(sentence_) from None


def _runs(field: str, missing: NDArray[np.bool_], start: datetime) -> list[Gap]:
    edges = np.flatnonzero(np.diff(np.concatenate(([False], missing, [False])).astype(np.int8)))
    ends = zip(edges[::2], edges[1::2], strict=True)
    return [Gap(field, start + int(first) * HOUR, int(last - first)) for first, last in ends]


assert tuple(QUANTITIES) == tuple(item.name for item in fields(HourlyWeather))[1:] == Moment._fields
