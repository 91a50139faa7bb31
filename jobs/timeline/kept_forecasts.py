"""Forecasts and what came of them, packed small: whole steps of each quantity, differences of hours, compressed.

A week of one forecast with what came takes about a kilobyte, so that a year of them can be kept for every cell.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from datetime import datetime
from typing import Final, NamedTuple

import numpy as np

from jobs.physics.validity import FloatArray
from jobs.timeline.weather import HourlyWeather

# quantity: step in which it is kept
SAID: Final[Mapping[str, float]] = {
    "temp_air_c": 0.1,
    "dew_point_c": 0.1,
    "wind_m_s": 0.05,
    "rain_probability": 0.005,
    "cloud_cover": 0.01,
    "temp_spread_c": 0.05,
    "wind_spread": 0.01,
}
CAME: Final[Mapping[str, float]] = {"temp_air_c": 0.1, "dew_point_c": 0.1, "wind_m_s": 0.05, "rain_mm": 0.01}
UNKNOWN: Final = -32768


class Spread(NamedTuple):
    """Standard deviation over an ensemble's members: air temperature [C], root of the wind [(m/s)^0.5]; each [hour]."""

    temp_c: FloatArray
    wind: FloatArray


def packed(fields: Mapping[str, FloatArray], steps: Mapping[str, float]) -> bytes:
    """Fields [hour] in whole steps; a field that is not given counts as unknown.

    Raises
    ------
    ValueError
        If nothing is given or the lengths differ.
    """
    lengths = {len(values) for values in fields.values()}
    if len(lengths) != 1:
        raise ValueError(f"fields have {sorted(lengths)} hours; one number of hours is needed.")
    count = lengths.pop()
    table = np.full((len(steps), count), UNKNOWN, dtype=np.int16)
    for row, (name, step) in enumerate(steps.items()):
        if name in fields:
            whole = np.clip(np.rint(np.asarray(fields[name], np.float64) / step), -32767, 32767)
            table[row] = np.where(np.isnan(whole), UNKNOWN, whole).astype(np.int16)
    moves = np.diff(table, axis=1, prepend=np.zeros((len(steps), 1), np.int16))  # wraps, and wraps back
    return zlib.compress(moves.astype("<i2").tobytes(), 9)


def unpacked(kept: bytes, steps: Mapping[str, float]) -> dict[str, FloatArray]:
    """The fields [hour] again, NaN where unknown.

    Raises
    ------
    ValueError
        If the bytes hold something else.
    """
    try:
        moves = np.frombuffer(zlib.decompress(kept), dtype="<i2")
    except zlib.error as broken:
        raise ValueError(f"a kept forecast cannot be read ({broken}).") from None
    if not moves.size or moves.size % len(steps):
        raise ValueError(f"a kept forecast has {moves.size} values; needed are {len(steps)} for each hour.")
    table = np.cumsum(moves.reshape(len(steps), -1), axis=1, dtype=np.int16)
    whole = np.where(table == UNKNOWN, np.nan, table.astype(np.float64))
    return {name: whole[row] * step for row, (name, step) in enumerate(steps.items())}


def said_of(forecast: HourlyWeather, spread: Spread | None = None) -> bytes:
    """A forecast [hour], with the spread of its members where it has any."""
    fields = {name: getattr(forecast, name) for name in SAID if hasattr(forecast, name)}
    if spread is not None:
        fields |= {"temp_spread_c": spread.temp_c, "wind_spread": spread.wind}
    return packed(fields, SAID)


def came_of(observed: HourlyWeather) -> bytes:
    """What came [hour]."""
    return packed({name: getattr(observed, name) for name in CAME}, CAME)


def forecast_of(start: datetime, kept: bytes) -> tuple[HourlyWeather, Spread | None]:
    """The forecast again, and the spread of its members if it had any."""
    fields = unpacked(kept, SAID)
    spread = Spread(fields.pop("temp_spread_c"), fields.pop("wind_spread"))
    weather = HourlyWeather.of(start, rain_mm=np.full(len(spread.temp_c), np.nan), **_in_order(fields))
    return weather, None if np.isnan(spread.temp_c).all() else spread


def observed_of(start: datetime, kept: bytes) -> HourlyWeather:
    """What came, again."""
    return HourlyWeather.of(start, **_in_order(unpacked(kept, CAME)))


def _in_order(fields: dict[str, FloatArray]) -> dict[str, FloatArray]:
    """Rounding must not lift the dew point above the air."""
    return fields | {"dew_point_c": np.minimum(fields["dew_point_c"], fields["temp_air_c"])}
