"""What the latest forecasts say of some sites on some days."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final
from uuid import UUID

import numpy as np
from django.db.models import Q

from jobs.models import Site, WeatherHours
from jobs.physics.heat import heat_index_c
from jobs.selectors.weather import cell_key, unpack
from jobs.timeline.weather import HourlyWeather

AT_WORK_H: Final = (6, 20)  # clock hours in which people are on site


@dataclass(frozen=True)
class DayWeather:
    """One day at one site while people work: [C], shares 0 to 1, heat index [C]."""

    low_c: float
    high_c: float
    rain_chance: float
    thunder_chance: float
    heat_index_c: float


def day_weathers(
    sites: Iterable[Site], default_source: str, days: Sequence[dt.date]
) -> dict[tuple[UUID, dt.date], DayWeather]:
    """Weather by (site, day) where a forecast covers it; one query for all sites."""
    by_site = {site.pk: (site, cell_key(site, default_source)) for site in sites}
    if not by_site:
        return {}
    wanted = Q()
    for source, latitude, longitude in {key for _, key in by_site.values()}:
        wanted |= Q(cell__source=source, cell__latitude=latitude, cell__longitude=longitude)
    rows = WeatherHours.objects.filter(wanted, kind="forecast").select_related("cell")
    latest = rows.order_by("cell_id", "-issued_at").distinct("cell_id")
    forecasts = {(row.cell.source, str(row.cell.latitude), str(row.cell.longitude)): unpack(row) for row in latest}
    found = {}
    for site, key in by_site.values():
        for day in days:
            one = None if key not in forecasts else _of_day(forecasts[key], site, day)
            if one is not None:
                found[site.pk, day] = one
    return found


def _of_day(weather: HourlyWeather, site: Site, day: dt.date) -> DayWeather | None:
    midnight = dt.datetime.combine(day, dt.time(), site.tz)
    begin, end = (midnight + dt.timedelta(hours=hour) for hour in AT_WORK_H)
    if begin < weather.start or end > weather.end:
        return None
    hours = weather.slice(begin, end)
    known = np.isfinite(hours.temp_air_c) & np.isfinite(hours.relative_humidity)
    if not known.any():
        return None
    index = heat_index_c(hours.temp_air_c[known], hours.relative_humidity[known])
    return DayWeather(
        low_c=float(np.nanmin(hours.temp_air_c)),
        high_c=float(np.nanmax(hours.temp_air_c)),
        rain_chance=float(np.nan_to_num(hours.rain_probability).max()),
        thunder_chance=float(np.nan_to_num(hours.thunder_probability).max()),
        heat_index_c=float(np.max(index)),
    )
