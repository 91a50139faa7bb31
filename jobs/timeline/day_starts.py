"""All starts of a day at once, from times of set tabulated by lay hour: for rows of days and many scenarios."""

from __future__ import annotations

from datetime import date, datetime
from typing import Final

import numpy as np
from numpy.typing import NDArray

from jobs.physics.compiled import compiled
from jobs.physics.validity import FloatArray
from jobs.timeline.column_course import coats_of, course_of
from jobs.timeline.column_weather import STEPS_AN_HOUR
from jobs.timeline.day_rules import (
    AIR_LOW,
    COLD,
    DARK,
    FIGURES,
    LAST_DONE,
    NIGHT,
    NIGHT_LOW,
    RAIN,
    RAIN_SUM,
    DayCrew,
    DayLimits,
    extreme,
    judge,
    total,
)
from jobs.timeline.plaster_day import candidate_starts_h, crew_of, limits_on
from jobs.timeline.plaster_job import PlasterJob
from jobs.timeline.set_clock import LONGEST_H, NIGHT_FROM_H, NIGHT_TO_H, air_table
from jobs.timeline.site_hours import SiteHours, site_hours
from jobs.timeline.weather import HourlyWeather

LAY_STEP_H: Final = 1.0
FROST_WATCH_C: Final = 9.0  # air above which a surface is never watched for frost: it lies 2.5 C below at most


def judged_starts(
    day: date,
    job: PlasterJob,
    weather: HourlyWeather,
    *,
    now: datetime | None = None,
    thorough: bool = True,
) -> tuple[FloatArray, NDArray[np.int64], FloatArray]:
    """Judge every half hour from first light to 17:00.

    Parameters
    ----------
    day, job, weather, now : as :func:`jobs.timeline.plaster_day.plaster_day`
    thorough : False stops at cold, rain during laying and darkness where they close every start, without
        looking for further reasons

    Returns
    -------
    clock hours [start], mask of broken rules [start], figures [start, figure] of :mod:`day_rules`
    """
    clock_h = np.array(candidate_starts_h(day, job))
    if not len(clock_h):
        return clock_h, np.empty(0, np.int64), np.empty((0, FIGURES))
    starts = clock_h + (job.elapsed_h(day, 12.0) - 12.0)  # clocks change at night, before any start
    base = weather.position(job.midnight(day))
    hours = site_hours(weather, job.shelter)
    crew, limits = crew_of(day, job), limits_on(day, float(starts[0]), job, now)
    if not thorough:
        quick, figures = closed_at_once(hours, base, starts, crew, limits)
        if (quick != 0).all():
            return clock_h, quick, figures
    lay = np.arange(np.floor(starts[0]), np.ceil(starts[-1] + job.laying_h) + 1, LAY_STEP_H)
    set_h, drying, frozen = _table(hours, base, lay, job, weather)
    masks, figures = judge_all(
        hours, base, lay, set_h, drying, frozen, starts, job.section_count, crew, limits, thorough
    )
    return clock_h, masks, figures


def _table(
    hours: SiteHours, base: float, lay: FloatArray, job: PlasterJob, weather: HourlyWeather
) -> tuple[FloatArray, FloatArray, NDArray[np.bool_]]:
    """Times of set, drying and young frost by lay hour."""
    frost_age = job.limits.frost_safe_age_h
    if job.material == "column":
        longest = base + lay[-1] + LONGEST_H
        if extreme(hours.temp_c, base + lay[0], min(longest, len(hours.temp_c)), -1.0) > FROST_WATCH_C:
            frost_age = 0.0  # no surface freezes under air this warm
        steps = np.round((base + lay) * STEPS_AN_HOUR)
        laid = coats_of(course_of(weather, job), job, steps, job.targets_h, frost_safe_age_h=frost_age)
        return laid.set_h, laid.drying, laid.surface_min_c <= job.limits.surface_min_c
    set_h, drying, _, coldest = air_table(
        hours.temp_c,
        hours.humidity,
        hours.wind_m_s,
        base,
        lay,
        job.targets_h,
        job.clock.activation_k,
        job.clock.reference_c,
        frost_age,
        job.evaporation == "uno",
    )
    return set_h, drying, coldest <= job.limits.surface_min_c


@compiled
def closed_at_once(
    hours: SiteHours, base: float, starts: FloatArray, crew: DayCrew, limits: DayLimits
) -> tuple[NDArray[np.int64], FloatArray]:
    """Rules that need no times of set: cold, night, rain while laying, light while laying."""
    masks = np.zeros(len(starts), np.int64)
    figures = np.full((len(starts), FIGURES), np.nan)
    night = extreme(hours.temp_c, base + NIGHT_FROM_H, base + NIGHT_TO_H, -1.0)
    for one in range(len(starts)):
        begin, laid = base + starts[one], base + starts[one] + crew.laying_h
        figures[one, NIGHT_LOW] = night
        figures[one, AIR_LOW] = extreme(hours.temp_c, begin, laid + limits.cold_for_h, -1.0)
        rain_until = laid + limits.rain_free_after_h
        figures[one, RAIN_SUM] = total(hours.rain_mm, begin, rain_until, limits.rain_counts_mm)
        figures[one, LAST_DONE] = starts[one] + crew.laying_h
        if night < limits.night_min_c:
            masks[one] |= NIGHT
        if figures[one, AIR_LOW] < limits.air_min_c:
            masks[one] |= COLD
        if figures[one, RAIN_SUM] > 0.0:
            masks[one] |= RAIN
        if starts[one] < crew.dawn_h or figures[one, LAST_DONE] > crew.dusk_h:
            masks[one] |= DARK
    return masks, figures


@compiled
def judge_all(
    hours: SiteHours,
    base: float,
    lay_h: FloatArray,
    set_h: FloatArray,
    drying: FloatArray,
    frozen: NDArray[np.bool_],
    starts: FloatArray,
    sections: int,
    crew: DayCrew,
    limits: DayLimits,
    thorough: bool,
) -> tuple[NDArray[np.int64], FloatArray]:
    """Judge each start with times of set interpolated between evenly spaced lay hours."""
    masks = np.zeros(len(starts), np.int64)
    figures = np.empty((len(starts), FIGURES))
    mixed = np.empty(sections)
    here = np.empty((set_h.shape[0], sections))
    wet = np.empty(sections)
    step = lay_h[1] - lay_h[0]
    for one in range(len(starts)):
        young_frost = False
        for section in range(sections):
            mixed[section] = starts[one] + section * crew.laying_h / sections
            place = (mixed[section] - lay_h[0]) / step
            low = min(int(place), len(lay_h) - 2)
            share = place - low
            for target in range(set_h.shape[0]):
                if share == 0.0:
                    here[target, section] = set_h[target, low]
                else:
                    here[target, section] = (1 - share) * set_h[target, low] + share * set_h[target, low + 1]
            wet[section] = (1 - share) * drying[low] + share * drying[low + 1]
            young_frost = young_frost or frozen[low] or frozen[low + 1]
        masks[one], figures[one] = judge(hours, base, mixed, here, wet, young_frost, crew, limits, thorough)
    return masks, figures
