"""All starts of a day at once, from times of set tabulated by lay hour: for rows of days and many scenarios."""

from __future__ import annotations

from datetime import date, datetime
from typing import Final, NamedTuple

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
FROST_MARGIN_C: Final = 9.0  # a surface is never so far below the air: 2.5 C at most on real nights, 4.3 without mass


class DayFrame(NamedTuple):
    """What the starts of one day have in common, whatever the weather: computed once for many scenarios."""

    day: date
    midnight: datetime
    clock_h: FloatArray
    starts_h: FloatArray
    crew: DayCrew
    limits: DayLimits


def day_frame(day: date, job: PlasterJob, now: datetime | None = None) -> DayFrame:
    """Starts (every half hour of the clock from first light to 17:00), crew, light and limits of a day."""
    clock_h = np.array(candidate_starts_h(day, job))
    starts = clock_h + (job.elapsed_h(day, 12.0) - 12.0)  # clocks change at night, before any start
    begins = float(starts[0]) if len(starts) else 12.0
    return DayFrame(day, job.midnight(day), clock_h, starts, crew_of(day, job), limits_on(day, begins, job, now))


def judged_starts(
    frame: DayFrame, job: PlasterJob, weather: HourlyWeather, *, thorough: bool = True
) -> tuple[NDArray[np.int64], FloatArray]:
    """Judge every start of a day.

    Parameters
    ----------
    frame, job, weather : one day of :func:`day_frame`, and a single course of weather
    thorough : False, for many scenarios, stops at the first rules that close a start, counts hands by the passes
        alone, and lays coats every other hour only (within 2 min of set)

    Returns
    -------
    mask of broken rules [start], figures [start, figure] of :mod:`day_rules`
    """
    starts, crew, limits = frame.starts_h, frame.crew, frame.limits
    if not len(starts):
        return np.empty(0, np.int64), np.empty((0, FIGURES))
    base = weather.position(frame.midnight)
    hours = site_hours(weather, job.shelter)
    if not thorough:
        quick, figures = closed_at_once(hours, base, starts, crew, limits)
        if (quick != 0).all():
            return quick, figures
    step = LAY_STEP_H if thorough else 2 * LAY_STEP_H
    lay = np.arange(np.floor(starts[0]), starts[-1] + job.laying_h + step, step)
    set_h, drying, frozen = _table(hours, base, lay, job, weather)
    sections = job.section_count
    return judge_all(hours, base, lay, set_h, drying, frozen, starts, sections, crew, limits, thorough)


def _table(
    hours: SiteHours, base: float, lay: FloatArray, job: PlasterJob, weather: HourlyWeather
) -> tuple[FloatArray, FloatArray, NDArray[np.bool_]]:
    """Times of set, drying and young frost by lay hour."""
    frost_age = job.limits.frost_safe_age_h
    if job.material == "column":
        until = min(base + lay[-1] + LONGEST_H, float(len(hours.temp_c)))
        if extreme(hours.temp_c, base + lay[0], until, -1.0) > job.limits.surface_min_c + FROST_MARGIN_C:
            frost_age = 0.0
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
