"""The shell of one job through its weather, before any coat is laid."""

from __future__ import annotations

from datetime import datetime
from typing import NamedTuple

import numpy as np

from jobs.physics.constants import ALBEDO
from jobs.physics.validity import FloatArray
from jobs.timeline.column import (
    CELLS,
    NO_READINGS,
    SOIL_M,
    Build,
    CoatRun,
    LaidCoats,
    Readings,
    bare_profiles_c,
    first_profile_c,
    laid_coats,
)
from jobs.timeline.column_weather import STEPS_AN_HOUR, Ground, StepWeather, step_weather
from jobs.timeline.kept import kept_with_weather
from jobs.timeline.plaster_job import PlasterJob
from jobs.timeline.set_clock import SetClock
from jobs.timeline.weather import HourlyWeather

RECENT_H = 72
FORGOTTEN_H = 96.0  # after four days a drained shell no longer remembers its water
NEVER = (1, 0)  # no night asked for


class Course(NamedTuple):
    """Bare shell through the weather: quarter hours, profiles at whole hours [hour + 1, cell], surface [step]."""

    steps: StepWeather
    profiles_c: FloatArray
    surface_c: FloatArray
    deep_c: float

    def profiles_at(self, place_h: FloatArray) -> FloatArray:
        """Profiles *place_h* hours after the beginning of the weather, linear between hours [place, cell]."""
        place = np.clip(place_h, 0.0, len(self.profiles_c) - 1.0)
        low = np.minimum(place.astype(np.int64), len(self.profiles_c) - 2)
        share = (place - low)[:, None]
        between: FloatArray = (1 - share) * self.profiles_c[low] + share * self.profiles_c[low + 1]
        return between


class Shell(NamedTuple):
    """What the bare shell depends on; jobs alike in this share their course."""

    latitude_deg: float
    longitude_deg: float
    shelter: float
    sky_view: float
    uno: bool
    sun_shift_days: int
    build: Build
    ground: Ground | None
    drained_at: datetime | None
    water_c: float | None


def shell_of(job: PlasterJob) -> Shell:
    """The shell of a job."""
    return Shell(
        round(job.latitude_deg, 3),
        round(job.longitude_deg, 3),
        job.shelter,
        job.sky_view,
        job.evaporation == "uno",
        job.sun_shift_days,
        job.build,
        job.ground,
        job.drained_at,
        job.water_c,
    )


def course_of(weather: HourlyWeather, job: PlasterJob) -> Course:
    """The bare shell of a job; weather should begin some 20 days before the days of interest."""
    return _kept_course(weather, shell_of(job))


@kept_with_weather
def _kept_course(weather: HourlyWeather, shell: Shell) -> Course:
    return _course(weather, shell, NO_READINGS)


def course_with_readings(weather: HourlyWeather, job: PlasterJob, readings: Readings) -> Course:
    """The same, brought to temperatures measured on the bare shell."""
    return _course(weather, shell_of(job), readings)


def bare_shell_profile_c(weather: HourlyWeather, job: PlasterJob, until: datetime) -> FloatArray:
    """Temperatures through shell and soil at an instant, from the top [cell] [C].

    Raises
    ------
    ValueError
        For an instant outside the weather, or weather with scenarios.
    """
    place = weather.position(until)
    if not 0 <= place <= weather.hours:
        raise ValueError(f"{until:%Y-%m-%d %H:%M} is not inside the weather.")
    profile: FloatArray = course_of(weather, job).profiles_at(np.array([place]))[0]
    return profile


def _course(weather: HourlyWeather, shell: Shell, readings: Readings) -> Course:
    steps = step_weather(weather, *shell[:6])
    recent = float(np.nanmean(weather.temp_air_c[:RECENT_H]))
    mean, deep = _ground(weather, shell)
    first = first_profile_c(shell.build, mean, recent)
    skipped = 0
    if shell.drained_at is not None and shell.water_c is not None:
        drained = weather.position(shell.drained_at)
        if -FORGOTTEN_H < drained < weather.hours:
            first[:CELLS] = shell.water_c
            skipped = max(0, int(drained))
    later = StepWeather(*(values[skipped * STEPS_AN_HOUR :] for values in steps))
    moved = readings._replace(step=readings.step - skipped * STEPS_AN_HOUR)
    profiles, surface = bare_profiles_c(later, first, shell.build, deep, shell.uno, moved)
    if skipped:
        profiles = np.concatenate((np.repeat(profiles[:1], skipped, axis=0), profiles))
        surface = np.concatenate((np.full(skipped * STEPS_AN_HOUR, first[0]), surface))
    return Course(steps, profiles, surface, deep)


def _ground(weather: HourlyWeather, shell: Shell) -> tuple[float, float]:
    """Mean of the year and fixed temperature below the column."""
    if shell.ground is None:
        mean = float(np.nanmean(weather.temp_air_c))
        return mean, mean
    middle = weather.start.timetuple().tm_yday + weather.hours / 48
    return shell.ground.mean_c, shell.ground.at_c(shell.build.shell_m + SOIL_M, middle)


def coats_of(
    course: Course,
    job: PlasterJob,
    lay_steps: FloatArray,
    targets_h: FloatArray,
    *,
    frost_safe_age_h: float,
    night_steps: tuple[int, int] = NEVER,
    readings: Readings = NO_READINGS,
) -> LaidCoats:
    """Coats laid at whole quarter hours from the beginning of the weather [batch]."""
    coat = coat_run(job.colour, job.mix_c, job.clock, job.evaporation == "uno", frost_safe_age_h)
    return lay(course, job.build, lay_steps, targets_h, coat, night_steps, readings)


def coat_run(colour: str, mix_c: float | None, clock: SetClock, uno: bool, frost_safe_age_h: float) -> CoatRun:
    """A coat for the inner loop: rain wets it, its own heat of hydration is left out (1.4 min at initial set)."""
    wet, dry = ALBEDO[colour]
    return CoatRun(
        albedo_wet=wet,
        albedo_dry=dry,
        mix_c=np.nan if mix_c is None else mix_c,
        hydration=False,
        rain_store=True,
        activation_k=clock.activation_k,
        reference_c=clock.reference_c,
        initial_h=clock.reference_set_h,
        final_h=clock.reference_set_h * clock.final_ratio,
        frost_safe_age_h=frost_safe_age_h,
        uno=uno,
    )


def lay(
    course: Course,
    build: Build,
    lay_steps: FloatArray,
    targets_h: FloatArray,
    coat: CoatRun,
    night_steps: tuple[int, int] = NEVER,
    readings: Readings = NO_READINGS,
) -> LaidCoats:
    """Lay coats on the bare profiles of their own times."""
    profiles = course.profiles_at(lay_steps / STEPS_AN_HOUR)
    return laid_coats(course.steps, lay_steps, profiles, build, course.deep_c, coat, targets_h, night_steps, readings)
