"""Hours that are over or that a source left open, made whole from a year that stands in for them."""

from __future__ import annotations

from datetime import datetime
from typing import Final

import numpy as np

from jobs.timeline.weather import HourlyWeather
from jobs.timeline.weather_quantities import HOUR, QUANTITIES

FROM_YEAR: Final = ("temp_air_c", "dew_point_c", "relative_humidity", "wind_m_s", "rain_mm")


def known_hours(known: HourlyWeather, year: HourlyWeather, begin: datetime, end: datetime) -> HourlyWeather:
    """Hours from *begin* to *end*: of *known* where it has them, else of *year*.

    Parameters
    ----------
    known : one course; may begin later, end earlier or have gaps
    year : one course that covers the interval
    begin, end : aware

    Notes
    -----
    Temperature, humidity, wind and rain leave no gap; the other quantities keep theirs. It serves hours that are
    over or nearly so (what the shell remembers, today's morning), never the days that a fill date depends on.

    Raises
    ------
    ValueError
        If the year does not cover the interval.
    """
    stand_in = year.slice(begin, end)
    first = int((stand_in.start - known.start) // HOUR)
    mine = np.arange(first, first + stand_in.hours)
    inside = (mine >= 0) & (mine < known.hours)
    fields = {}
    for name in QUANTITIES:
        values = np.full(stand_in.hours, np.nan)
        values[inside] = getattr(known, name)[mine[inside]]
        usual = getattr(stand_in, name)
        fields[name] = np.where(np.isnan(values), usual, values) if name in FROM_YEAR else values
    fields["dew_point_c"] = np.minimum(fields["dew_point_c"], fields["temp_air_c"])
    return HourlyWeather(stand_in.start, **fields)
