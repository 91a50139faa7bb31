"""When the bond coat may go on, and when it has cured enough for plaster."""

from __future__ import annotations

from datetime import date
from typing import Final

import numpy as np
from numpy.typing import NDArray

from jobs.physics.compiled import compiled
from jobs.physics.constants import HARDENING_ACTIVATION_K
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
from jobs.timeline.set_clock import FROST_REFERENCE_C, STEP_H, between, rate
from jobs.timeline.site_hours import dew_point_of, site_hours
from jobs.timeline.stage_job import StageJob
from jobs.timeline.weather import HourlyWeather

DEW: Final = 1 << 20
LONGEST_CURE_H: Final = 240.0


def judged_bond(
    day: date, job: StageJob, weather: HourlyWeather
) -> tuple[FloatArray, NDArray[np.int64], FloatArray, FloatArray]:
    """Judge every half hour from first light to 17:00.

    Returns
    -------
    clock hours [start], mask of broken rules [start], hours from the end of the coat until plaster [start],
    figures [start, (air low, above dew point, rain, thunder)]
    """
    plaster = job.plaster
    clock_h = np.array(candidate_starts_h(day, plaster))
    starts = clock_h + (plaster.elapsed_h(day, 12.0) - 12.0)
    hours = site_hours(weather, plaster.shelter)
    surface = hours.temp_c
    if plaster.material == "column":
        surface = np.ascontiguousarray(course_of(weather, plaster).surface_c[STEPS_AN_HOUR - 1 :: STEPS_AN_HOUR])
    dusk = np.inf if plaster.lit else plaster.daylight_h(day)[1]
    limits = plaster.limits
    masks, cure, figures = _judge(
        hours.temp_c,
        surface - dew_point_of(weather),
        surface,
        hours.rain_mm,
        hours.thunder,
        weather.position(plaster.midnight(day)),
        starts,
        job.bond_h,
        dusk,
        np.array(
            [
                limits.air_min_c,
                limits.bond_above_dew_point_c,
                limits.rain_counts_mm,
                limits.bond_rain_free_after_h,
                limits.thunder_probability_max,
                limits.bond_cure_age_h,
            ]
        ),
    )
    return clock_h, masks, cure, figures


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
    temp_c: FloatArray,
    above_dew: FloatArray,
    surface_c: FloatArray,
    rain_mm: FloatArray,
    thunder: FloatArray,
    base: float,
    starts: FloatArray,
    length_h: float,
    dusk_h: float,
    limits: FloatArray,
) -> tuple[NDArray[np.int64], FloatArray, FloatArray]:
    masks = np.zeros(len(starts), np.int64)
    cure, figures = np.full(len(starts), np.nan), np.empty((len(starts), 4))
    for one in range(len(starts)):
        begin, end = base + starts[one], base + starts[one] + length_h
        figures[one, 0] = extreme(temp_c, begin, end + 1.0, -1.0)
        figures[one, 1] = extreme(above_dew, begin, end, -1.0)
        figures[one, 2] = total(rain_mm, begin, end + limits[3], limits[2])
        figures[one, 3] = highest_hour(thunder, begin, end)
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
        age, waited = 0.0, 0.0
        while age < limits[5]:
            here = between(surface_c, end + waited + 0.5 * STEP_H)
            if np.isnan(here) or waited > LONGEST_CURE_H:
                masks[one] |= NO_WEATHER
                break
            gain = rate(here, HARDENING_ACTIVATION_K, FROST_REFERENCE_C) * STEP_H
            waited += STEP_H * min(1.0, (limits[5] - age) / gain)
            age += gain
        cure[one] = waited
        if np.isnan(figures[one, :3]).any():
            masks[one] |= NO_WEATHER
    return masks, cure, figures
