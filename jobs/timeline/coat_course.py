"""The coat of one section hour by hour: its temperature, its drying and how far it has set."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np

from jobs.physics.setting import rate_factor
from jobs.physics.validity import FloatArray, in_range
from jobs.timeline.column import laid_coats, readings_at
from jobs.timeline.column_course import coat_run, course_of, course_with_readings
from jobs.timeline.column_weather import STEPS_AN_HOUR
from jobs.timeline.plaster_job import PlasterJob
from jobs.timeline.weather import HourlyWeather

SHOWN_H: Final = 14.0


@dataclass(frozen=True, eq=False)
class CoatCourse:
    """Quarter hours after mixing of one section.

    hours : since local midnight, at the end of each quarter [step]
    surface_c, coat_c : [C];  drying_kg_m2_h : free water [step]
    set_share : equivalent age over that of initial set [step]; 1 is initial set, the clock's ratio final set
    """

    hours: FloatArray
    surface_c: FloatArray
    coat_c: FloatArray
    drying_kg_m2_h: FloatArray
    set_share: FloatArray


def coat_course(
    day: date,
    mixed_h: float,
    job: PlasterJob,
    weather: HourlyWeather,
    readings: tuple[tuple[float, float], ...] = (),
    shown_h: float = SHOWN_H,
) -> CoatCourse:
    """The coat of a section that is mixed at an hour of a day, rounded to a quarter hour.

    Parameters
    ----------
    day : local date
    mixed_h : hours since local midnight, 0 to 30
    job : surface, mix, place
    weather : one course of hours
    readings : (hours since midnight, temperature [C]) of shell or coat
    shown_h : length of the course [h]

    Raises
    ------
    ValueError
        For an hour outside the range, or weather that begins too late.
    """
    in_range("hour of mixing", mixed_h, 0, 30, "h")
    base = weather.position(job.midnight(day))
    if base < 0:
        raise ValueError(f"weather begins at {weather.start:%Y-%m-%d %H:%M} UTC, after the midnight of {day}.")
    read = readings_at([(base + hour, value) for hour, value in readings])
    course = course_with_readings(weather, job, read) if readings else course_of(weather, job)
    first = float(np.round((base + mixed_h) * STEPS_AN_HOUR))
    clock = job.clock
    steps = np.array([first])
    laid = laid_coats(
        course.steps,
        steps,
        course.profiles_at(steps / STEPS_AN_HOUR),
        job.build,
        course.deep_c,
        coat_run(job.colour, job.mix_c, clock, job.evaporation == "uno", job.limits.frost_safe_age_h),
        job.targets_h,
        (1, 0),
        read,
        int(shown_h * STEPS_AN_HOUR),
    )
    trace = laid.trace[0]
    known = np.isfinite(trace[:, 1])
    surface, coat, drying = (trace[known, one] for one in range(3))
    gain = np.asarray(rate_factor(coat, clock.reference_c, clock.activation_k)) / STEPS_AN_HOUR
    hours = (first - base * STEPS_AN_HOUR + 1 + np.arange(len(coat))) / STEPS_AN_HOUR
    return CoatCourse(hours, surface, coat, drying, np.cumsum(gain) / clock.reference_set_h)
