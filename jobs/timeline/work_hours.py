"""Prep hours that weather and heat leave, hours of draining, and the weather strip of days."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from jobs.physics.evaporation import evaporation_menzel_kg_m2_h, evaporation_uno_kg_m2_h
from jobs.physics.hydraulics import pump_out_h
from jobs.physics.validity import FloatArray
from jobs.timeline.day_rules import Reason, reasons_of
from jobs.timeline.day_starts import judged_starts
from jobs.timeline.plaster_day import crew_of
from jobs.timeline.site_hours import SiteHours, site_hours
from jobs.timeline.stage_job import PLANNED_WITH, SLOTS_A_DAY, PrepDay, StageJob, Verdict
from jobs.timeline.weather import HourlyWeather, courses

REST_SHARE = 0.875  # of the time is left by 15 min of rest in each 2 h [CP]
HALF = 0.5
PUMP_MARGIN = 1.25  # a pump's flow is stated at its best; strainer and hose take some [CP]
CAN, DOUBTFUL, CANNOT = "can plaster", "doubtful", "cannot plaster"
SURE = 0.80  # of the scenarios
STRIP_FROM_H, STRIP_TO_H = 6.0, 20.0


def prep_hours_by_day(job: StageJob, weather: HourlyWeather, day0: date, days: int) -> tuple[PrepDay, ...]:
    """Hours of prep that each day leaves: dry, not freezing, no thunder, heat halving midday.

    An hour counts as none in rain or thunder above the limits, in frost, or at a heat index from the stop line;
    from the high line half between the midday hours, and 7/8 outside them for rest. Per day the hours that four
    of five scenarios reach, and the mean.
    """
    found = []
    every = courses(weather)
    for number in range(days):
        day = day0 + timedelta(days=number)
        shares, causes = zip(*(_day_shares(job, one, day) for one in every), strict=True)
        hours = np.array([share.sum() for share in shares]) * 0.5
        sure = float(np.quantile(hours, 1 - PLANNED_WITH, method="lower"))
        said = sorted({cause for some in causes for cause in some})
        found.append(PrepDay(number, sure, float(hours.mean()), tuple(said)))
    return tuple(found)


def prep_blocked(job: StageJob, weather: HourlyWeather, day0: date, days: int) -> tuple[tuple[int, int], ...]:
    """Slot ranges [from, to) of the planner in which more scenarios than not leave no prep at all."""
    every = courses(weather)
    blocked: list[tuple[int, int]] = []
    first = round(2 * job.prep_from_h)
    for number in range(days):
        day = day0 + timedelta(days=number)
        closed = np.mean([_day_shares(job, one, day)[0] == 0 for one in every], axis=0) > 0.5
        for slot in np.flatnonzero(closed) + first + number * SLOTS_A_DAY:
            if blocked and blocked[-1][1] == slot:
                blocked[-1] = (blocked[-1][0], int(slot) + 1)
            else:
                blocked.append((int(slot), int(slot) + 1))
    return tuple(blocked)


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
    by_pump = float(
        pump_out_h(
            job.drain_area_m2,
            job.pump_l_min,
            job.pump_shutoff_m,
            job.lift_m,
            job.lift_m + job.drain_depth_m,
        )
    )
    litres = 1000 * job.drain_area_m2 * job.drain_depth_m
    by_site = 0.0 if job.discharge_l_min is None else litres / job.discharge_l_min / 60
    return max(by_pump, by_site), max(PUMP_MARGIN * by_pump, by_site)


def day_verdicts(
    job: StageJob,
    weather: HourlyWeather,
    day0: date,
    days: int,
    *,
    now: datetime | None = None,
) -> tuple[Verdict, ...]:
    """The weather strip: can plaster (four of five scenarios allow a start), doubtful, or cannot (one of five).

    A single course whose rain chance in the working hours reaches the limit is doubtful, not open.
    """
    every = courses(weather)
    return tuple(_verdict(job, every, day0 + timedelta(days=number), number, now) for number in range(days))


def _verdict(job: StageJob, every: Sequence[HourlyWeather], day: date, number: int, now: datetime | None) -> Verdict:
    plaster = job.plaster
    allowed, reason = [], None
    for one in every:
        _, masks, figures = judged_starts(day, plaster, one, now=now, thorough=len(every) == 1)
        allowed.append(bool((masks == 0).any()))
        if not allowed[-1] and reason is None and len(masks):
            best = int(np.argmin([bin(int(mask)).count("1") for mask in masks]))
            reason = reasons_of(int(masks[best]), figures[best], plaster.limits, crew_of(day, plaster))[0]
    share = float(np.mean(allowed))
    low, high, rain, drying = _strip(job, every, day)
    stated = _stated_chance(every[0], job, day) if len(every) == 1 else 0.0
    word = CAN if share >= SURE else CANNOT if share <= 1 - SURE + 1e-9 else DOUBTFUL
    line = plaster.limits.rain_start_probability
    if word == CAN and stated >= line:
        word = DOUBTFUL
        reason = Reason("rain_chance", f"rain chance is {100 * stated:.0f} %", stated, line, "fraction")
    elif word == CAN:
        reason = None
    stop = plaster.limits.evaporation_stop_kg_m2_h
    return Verdict(number, word, reason, share, low, high, rain, drying, stop)


def _stated_chance(course: HourlyWeather, job: StageJob, day: date) -> float:
    """Largest rain chance that the source states for the working hours; 0 if it states none."""
    base = course.position(job.plaster.midnight(day))
    work = slice(max(0, int(base + STRIP_FROM_H)), max(0, int(base + STRIP_TO_H)))
    chances = site_hours(course, job.plaster.shelter).rain_chance[work]
    return float(chances.max()) if chances.size else 0.0


def _strip(job: StageJob, every: Sequence[HourlyWeather], day: date) -> tuple[float, float, float, float]:
    """Lowest and highest air temperature of the day, rain chance and drying rate of its working hours."""
    plaster = job.plaster
    formula = evaporation_uno_kg_m2_h if plaster.evaporation == "uno" else evaporation_menzel_kg_m2_h
    lows, highs, chances, wet, drying = [], [], [], [], []
    for course in every:
        base = course.position(plaster.midnight(day))
        whole = slice(max(0, int(base)), int(base) + 24)
        work = slice(max(0, int(base + STRIP_FROM_H)), int(base + STRIP_TO_H))
        hours = site_hours(course, plaster.shelter)
        if not np.isfinite(hours.temp_c[whole]).any() or not hours.temp_c[work].size:
            continue
        lows.append(np.nanmin(hours.temp_c[whole]))
        highs.append(np.nanmax(hours.temp_c[whole]))
        chances.append(hours.rain_chance[work].max())
        wet.append(np.nansum(hours.rain_mm[work]) > plaster.limits.rain_counts_mm)
        known = np.isfinite(hours.temp_c[work] + hours.humidity[work] + hours.wind_m_s[work])
        here = hours.temp_c[work][known]
        if known.any():
            rate = formula(here, here, hours.humidity[work][known], 3.6 * hours.wind_m_s[work][known])
            drying.append(float(np.max(rate)))
    if not lows:
        return (float("nan"),) * 4
    rain = float(np.mean(wet)) if len(every) > 1 else max(float(chances[0]), float(wet[0]))
    middle = float(np.median(drying)) if drying else float("nan")
    return float(np.median(lows)), float(np.median(highs)), rain, middle


def _day_shares(job: StageJob, course: HourlyWeather, day: date) -> tuple[FloatArray, set[str]]:
    """Share of each half hour of prep that is left [slot], and what takes the rest."""
    plaster, limits = job.plaster, job.plaster.limits
    hours = site_hours(course, plaster.shelter)
    clock = np.arange(job.prep_from_h, job.prep_to_h - 0.25, 0.5)
    base = course.position(plaster.midnight(day)) + plaster.elapsed_h(day, 12.0) - 12.0
    index = np.floor(base + clock).astype(int)
    share = np.zeros(len(clock))
    known = (index >= 0) & (index < course.hours)
    causes: set[str] = set() if known.all() else {"no_weather"}
    index = np.clip(index, 0, course.hours - 1)
    midday = (clock >= limits.heat_half_from_h) & (clock < limits.heat_half_to_h)
    heat = hours.heat_index_c[index]
    hot = heat >= limits.heat_high_c
    share = np.where(known, np.where(hot, np.where(midday, HALF, REST_SHARE), 1.0), 0.0)
    for cause, closed in _closures(job, hours, index).items():
        if (closed & known).any():
            causes.add(cause)
        share[closed] = 0.0
    if (hot & (share > 0)).any():
        causes.add("heat_high")
    return share, causes


def _closures(job: StageJob, hours: SiteHours, index: NDArray[np.int64]) -> dict[str, NDArray[np.bool_]]:
    limits = job.plaster.limits
    return {
        "rain": hours.rain_mm[index] >= limits.prep_rain_max_mm,
        "cold": hours.temp_c[index] <= limits.prep_air_min_c,
        "thunder": hours.thunder[index] >= limits.thunder_probability_max,
        "heat_stop": hours.heat_index_c[index] >= limits.heat_stop_c,
        "no_weather": np.isnan(hours.temp_c[index] + hours.rain_mm[index]),
    }
