"""Prep hours that weather and heat leave, and hours of draining."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np
from numpy.typing import NDArray

from jobs.physics.hydraulics import pump_out_h
from jobs.physics.validity import FloatArray
from jobs.timeline.site_hours import SiteHours, site_hours
from jobs.timeline.stage_job import PLANNED_WITH, SLOTS_A_DAY, PrepDay, StageJob
from jobs.timeline.weather import HourlyWeather, courses

REST_SHARE: Final = 0.875  # of the time is left by 15 min of rest in each 2 h [CP]
HALF: Final = 0.5
PUMP_MARGIN: Final = 1.25  # a pump's flow is stated at its best; strainer and hose take some [CP]


@dataclass(frozen=True, eq=False)
class PrepOutlook:
    """Prep of each day, and slot ranges [from, to) in which more scenarios than not leave none at all."""

    days: tuple[PrepDay, ...]
    blocked: tuple[tuple[int, int], ...]


def prep_outlook(job: StageJob, weather: HourlyWeather, day0: date, days: int) -> PrepOutlook:
    """Hours of prep that each day leaves: dry, not freezing, no thunder, heat halving midday.

    An hour counts as none in rain or thunder above the limits, in frost, or at a heat index from the stop line;
    from the high line half between the midday hours, and 7/8 outside them for rest. Per day the hours that four
    of five scenarios reach, and the mean.
    """
    clock = np.arange(job.prep_from_h, job.prep_to_h - 0.25, 0.5)
    every = courses(weather)
    places = np.array([_base(job, weather, day0 + timedelta(days=number)) for number in range(days)])
    index = np.floor(places[:, None] + clock[None, :]).astype(np.int64)
    shares = np.empty((len(every), days, len(clock)))
    causes: list[set[str]] = [set() for _ in range(days)]
    for number, one in enumerate(every):
        shares[number], found = _shares(job, site_hours(one, job.plaster.shelter), clock, index)
        for cause, where in found.items():
            for day in np.flatnonzero(where.any(axis=1)):
                causes[day].add(cause)
    return PrepOutlook(_days(shares, causes), _blocked(shares, round(2 * job.prep_from_h)))


def prep_hours_by_day(job: StageJob, weather: HourlyWeather, day0: date, days: int) -> tuple[PrepDay, ...]:
    """The days of :func:`prep_outlook`."""
    return prep_outlook(job, weather, day0, days).days


def prep_blocked(job: StageJob, weather: HourlyWeather, day0: date, days: int) -> tuple[tuple[int, int], ...]:
    """The blocked slots of :func:`prep_outlook`."""
    return prep_outlook(job, weather, day0, days).blocked


def drain_hours(job: StageJob) -> tuple[float, float]:
    """Hours of pumping: as computed, and with a margin for strainer and hose (plan with the second).

    The site's discharge limit holds if it is slower than the pump. Whether the shell may be emptied at all is
    never decided here: groundwater can float it; measure it, read the relief valve, ask a licensed opinion.

    Raises
    ------
    ValueError
        If the pool is empty, or the pump cannot lift the water out.
    """
    if job.drain_area_m2 is None:
        raise ValueError("the pool has no water to drain; give its water surface in m2.")
    lift = (job.lift_m, job.lift_m + job.drain_depth_m)
    by_pump = float(pump_out_h(job.drain_area_m2, job.pump_l_min, job.pump_shutoff_m, *lift))
    litres = 1000 * job.drain_area_m2 * job.drain_depth_m
    by_site = 0.0 if job.discharge_l_min is None else litres / job.discharge_l_min / 60
    return max(by_pump, by_site), max(PUMP_MARGIN * by_pump, by_site)


def _base(job: StageJob, weather: HourlyWeather, day: date) -> float:
    return weather.position(job.plaster.midnight(day)) + job.plaster.elapsed_h(day, 12.0) - 12.0


def _shares(
    job: StageJob, hours: SiteHours, clock: FloatArray, index: NDArray[np.int64]
) -> tuple[FloatArray, dict[str, NDArray[np.bool_]]]:
    """Share of each half hour of prep that is left [day, slot], and where what takes the rest."""
    limits = job.plaster.limits
    inside = (index >= 0) & (index < len(hours.temp_c))
    at = np.clip(index, 0, len(hours.temp_c) - 1)
    temp, rain, heat = hours.temp_c[at], hours.rain_mm[at], hours.heat_index_c[at]
    hot = heat >= limits.heat_high_c
    midday = (clock >= limits.heat_half_from_h) & (clock < limits.heat_half_to_h)
    causes = {
        "no_weather": ~inside | np.isnan(temp + rain),
        "rain": inside & (rain >= limits.prep_rain_max_mm),
        "cold": inside & (temp <= limits.prep_air_min_c),
        "thunder": inside & (hours.thunder[at] >= limits.thunder_probability_max),
        "heat_stop": inside & (heat >= limits.heat_stop_c),
    }
    lost = np.logical_or.reduce(list(causes.values()))
    share = np.where(hot, np.where(midday, HALF, REST_SHARE), 1.0)
    causes["heat_high"] = inside & hot & ~lost
    return np.where(lost, 0.0, share), causes


def _days(shares: FloatArray, causes: Sequence[set[str]]) -> tuple[PrepDay, ...]:
    hours = 0.5 * shares.sum(axis=2)
    sure = np.quantile(hours, 1 - PLANNED_WITH, axis=0, method="lower")
    return tuple(
        PrepDay(number, float(sure[number]), float(hours[:, number].mean()), tuple(sorted(said)))
        for number, said in enumerate(causes)
    )


def _blocked(shares: FloatArray, first_slot: int) -> tuple[tuple[int, int], ...]:
    ranges: list[tuple[int, int]] = []
    for day, place in np.argwhere((shares == 0).mean(axis=0) > 0.5):
        slot = int(day) * SLOTS_A_DAY + first_slot + int(place)
        if ranges and ranges[-1][1] == slot:
            ranges[-1] = (ranges[-1][0], slot + 1)
        else:
            ranges.append((slot, slot + 1))
    return tuple(ranges)
