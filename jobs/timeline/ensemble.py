"""The middle of an ensemble, for whatever shows one forecast."""

from __future__ import annotations

from typing import Final

import numpy as np

from jobs.physics.psychrometrics import relative_humidity
from jobs.physics.validity import FloatArray
from jobs.timeline.rain_blocks import BLOCK_H, WET_MM
from jobs.timeline.weather import HourlyWeather
from jobs.timeline.weather_quantities import QUANTITIES

MEAN: Final = tuple(name for name in QUANTITIES if name not in ("relative_humidity", "rain_probability"))


def middle_of(members: HourlyWeather) -> HourlyWeather:
    """Mean of the members of each hour; the chance of rain is the share of them that are wet in its 6 h block.

    Parameters
    ----------
    members : [member, hour]

    Notes
    -----
    Blocks are 00-06, 06-12, ... UTC. A member's gap leaves the others; where all have one it stays a gap. The mean of
    many members has less wind and rain at any hour than each of them: bands use the members, not their middle.
    """
    fields = {name: _mean(getattr(members, name)) for name in MEAN}
    fields["dew_point_c"] = np.minimum(fields["dew_point_c"], fields["temp_air_c"])
    known = np.isfinite(fields["temp_air_c"]) & np.isfinite(fields["dew_point_c"])
    humidity = np.full(members.hours, np.nan)
    humidity[known] = relative_humidity(fields["temp_air_c"][known], fields["dew_point_c"][known])
    clock = members.start.hour + np.arange(members.hours)
    block = clock // BLOCK_H - clock[0] // BLOCK_H
    rain = np.atleast_2d(members.rain_mm)
    share = np.full(int(block[-1]) + 1, np.nan)
    for number in range(share.size):
        here = rain[:, block == number]
        some = np.isfinite(here).any(axis=1)
        if some.any():
            share[number] = float((np.nansum(here[some], axis=1) >= WET_MM).mean())
    return HourlyWeather(members.start, **fields, relative_humidity=humidity, rain_probability=share[block])


def _mean(values: FloatArray) -> FloatArray:
    table = np.atleast_2d(values)
    known = np.isfinite(table)
    total = np.where(known, table, 0.0).sum(axis=0)
    number = known.sum(axis=0)
    return np.where(number > 0, total / np.maximum(number, 1), np.nan)
