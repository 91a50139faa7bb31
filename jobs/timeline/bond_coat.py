"""When the bond coat may go on, and when it has cured enough for plaster."""

from __future__ import annotations

from datetime import date, datetime
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from jobs.physics.compiled import compiled
from jobs.physics.constants import HARDENING_ACTIVATION_K
from jobs.physics.setting import rate_factor
from jobs.physics.validity import FloatArray
from jobs.timeline.column_course import course_of
from jobs.timeline.column_weather import STEPS_AN_HOUR
from jobs.timeline.day_rules import (
    COLD,
    DARK,
    NO_WEATHER,
    RAIN,
    THUNDER,
    Reason,
    extreme,
    highest_hour,
    total,
)
from jobs.timeline.plaster_day import candidate_starts_h
from jobs.timeline.plaster_job import PlasterJob
from jobs.timeline.set_clock import FROST_REFERENCE_C
from jobs.timeline.site_hours import dew_point_of, site_hours
from jobs.timeline.stage_job import StageJob
from jobs.timeline.weather import HourlyWeather

DEW: Final = 1 << 20


class BondFrame(NamedTuple):
    """What the starts of one day have in common, whatever the weather."""

    midnight: datetime
    clock_h: FloatArray
    starts_h: FloatArray
    dusk_h: float
    limits: FloatArray


class BondCourse(NamedTuple):
    """One course for the inner loop [hour]; age is the equivalent age gained since the beginning [step + 1]."""

    temp_c: FloatArray
    above_dew_c: FloatArray
    rain_mm: FloatArray
    thunder: FloatArray
    age_h: FloatArray


def bond_frame(day: date, job: StageJob) -> BondFrame:
    """Starts of the clock from first light to 17:00, dusk and limits of a day."""
    plaster, limits = job.plaster, job.plaster.limits
    clock_h = np.array(candidate_starts_h(day, plaster))
    numbers = (
        limits.air_min_c,
        limits.bond_above_dew_point_c,
        limits.rain_counts_mm,
        limits.bond_rain_free_after_h,
        limits.thunder_probability_max,
        limits.bond_cure_age_h,
    )
    return BondFrame(
        plaster.midnight(day),
        clock_h,
        clock_h + (plaster.elapsed_h(day, 12.0) - 12.0),
        np.inf if plaster.lit else plaster.daylight_h(day)[1],
        np.array(numbers),
    )


def bond_course(weather: HourlyWeather, plaster: PlasterJob) -> BondCourse:
    """Air, rain, thunder, and the surface that the coat goes on: the bare shell, or the air if so chosen."""
    hours = site_hours(weather, plaster.shelter)
    ends = (np.arange(weather.hours * STEPS_AN_HOUR) + 1) / STEPS_AN_HOUR
    if plaster.material == "column":
        quarters = course_of(weather, plaster).surface_c
        quarters = np.where(np.isnan(weather.series("temp_air_c", ends)), np.nan, quarters)
    else:
        quarters = weather.series("temp_air_c", ends - 0.5 / STEPS_AN_HOUR)
    surface = quarters[STEPS_AN_HOUR - 1 :: STEPS_AN_HOUR] if plaster.material == "column" else hours.temp_c
    known = np.isfinite(quarters)
    rates = np.asarray(rate_factor(np.where(known, quarters, 0.0), FROST_REFERENCE_C, HARDENING_ACTIVATION_K))
    age = np.concatenate(([0.0], np.cumsum(np.where(known, rates, np.nan)) / STEPS_AN_HOUR))
    return BondCourse(
        hours.temp_c, np.ascontiguousarray(surface - dew_point_of(weather)), hours.rain_mm, hours.thunder, age
    )


def judged_bond(
    frame: BondFrame, job: StageJob, course: BondCourse, base: float
) -> tuple[NDArray[np.int64], FloatArray, FloatArray]:
    """Judge every start of a day; *base* hours of the course lie before its midnight.

    Returns
    -------
    mask of broken rules [start], hours from the end of the coat until plaster [start], figures [start, (air low,
    above dew point, rain, thunder)]
    """
    return _judge(course, base, frame.starts_h, job.bond_h, frame.dusk_h, frame.limits)


def reasons(masks: NDArray[np.int64], cure: FloatArray, figures: FloatArray, job: StageJob) -> tuple[Reason, ...]:
    """What closes the start that fewest rules close."""
    del cure
    if not len(masks):
        return (Reason("dark", "there is no daylight", float("nan"), float("nan"), ""),)
    best = int(np.argmin([bin(int(mask)).count("1") for mask in masks]))
    limits = job.plaster.limits
    air, above, rain, thunder = (float(value) for value in figures[best])
    least, over = limits.air_min_c, limits.bond_above_dew_point_c
    storm = limits.thunder_probability_max
    said = {
        COLD: Reason("cold", f"the air falls to {air:.1f} C; least is {least:.1f} C", air, least, "C"),
        DEW: Reason(
            "dew",
            f"the surface is {above:.1f} C above the dew point; least is {over:.1f} C",
            above,
            over,
            "delta C",
        ),
        RAIN: Reason("rain", f"{rain:.1f} mm of rain fall before it has skinned", rain, 0.0, "mm"),
        THUNDER: Reason(
            "thunder",
            f"thunder chance is {100 * thunder:.0f} %; nobody works in the shell from {100 * storm:.0f} %",
            thunder,
            storm,
            "fraction",
        ),
        DARK: Reason("dark", "the coat cannot be finished before dusk", float("nan"), float("nan"), "clock"),
        NO_WEATHER: Reason("no_weather", "no weather is known for these hours", float("nan"), 0.0, ""),
    }
    return tuple(reason for bit, reason in said.items() if int(masks[best]) & bit)


@compiled
def _judge(
    course: BondCourse, base: float, starts: FloatArray, length_h: float, dusk_h: float, limits: FloatArray
) -> tuple[NDArray[np.int64], FloatArray, FloatArray]:
    masks = np.zeros(len(starts), np.int64)
    cure, figures = np.full(len(starts), np.nan), np.empty((len(starts), 4))
    for one in range(len(starts)):
        begin, end = base + starts[one], base + starts[one] + length_h
        figures[one, 0] = extreme(course.temp_c, begin, end + 1.0, -1.0)
        figures[one, 1] = extreme(course.above_dew_c, begin, end, -1.0)
        figures[one, 2] = total(course.rain_mm, begin, end + limits[3], limits[2])
        figures[one, 3] = highest_hour(course.thunder, begin, end)
        if figures[one, 0] < limits[0]:
            masks[one] |= COLD
        if figures[one, 1] < limits[1]:
            masks[one] |= DEW
        if figures[one, 2] > 0.0:
            masks[one] |= RAIN
        if figures[one, 3] >= limits[4]:
            masks[one] |= THUNDER
        if starts[one] + length_h > dusk_h:
            masks[one] |= DARK
        cure[one] = ripe_after_h(course.age_h, end, limits[5])
        if np.isnan(figures[one, :3]).any() or np.isnan(cure[one]):
            masks[one] |= NO_WEATHER
    return masks, cure, figures


@compiled
def ripe_after_h(age_h: FloatArray, place: float, needed: float) -> float:
    """Hours from *place* until the equivalent age has grown by *needed*; NaN if the weather ends before."""
    at = place * STEPS_AN_HOUR
    low = int(at)
    if low < 0 or low + 1 >= len(age_h):
        return np.nan
    wanted = age_h[low] + (at - low) * (age_h[low + 1] - age_h[low]) + needed
    after = np.searchsorted(age_h, wanted)  # NaN sorts last, so a gap is not reached
    if np.isnan(wanted) or after >= len(age_h) or np.isnan(age_h[after]):
        return np.nan
    step = after - 1 + (wanted - age_h[after - 1]) / (age_h[after] - age_h[after - 1])
    return float(step / STEPS_AN_HOUR - place)
