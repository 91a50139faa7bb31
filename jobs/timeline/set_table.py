"""How long a batch takes to set, by the hour at which it is laid."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from jobs.physics.validity import FloatArray, in_range
from jobs.timeline.column import Build, bare_profiles_c, factors_of, readings_at
from jobs.timeline.column_course import Course, coat_run, coats_of, course_of, course_with_readings, lay
from jobs.timeline.column_weather import STEPS_AN_HOUR, step_weather
from jobs.timeline.plaster_job import PlasterJob
from jobs.timeline.set_clock import NIGHT_FROM_H, NIGHT_TO_H, PASSES, SURFACE_BELOW_AIR_C, Formula, SetClock, air_table
from jobs.timeline.site_hours import site_hours
from jobs.timeline.weather import HourlyWeather

__all__ = ["Coat", "SectionSets", "SetClock", "SetTable", "section_sets", "set_table_h"]


class SetTable(NamedTuple):
    """Hours from mixing, by the hour of laying.

    set_h : [target, lay hour] hours to each target, infinite if not reached within 72 h or the weather
    evaporation_max_kg_m2_h, coat_max_c : largest until final set [lay hour]
    surface_min_c : lowest surface temperature while frost can damage [lay hour]
    frozen_young : whether it then fell to 0 C or below [lay hour]
    """

    set_h: FloatArray
    evaporation_max_kg_m2_h: FloatArray
    coat_max_c: FloatArray
    surface_min_c: FloatArray
    frozen_young: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class SectionSets:
    """What becomes of each section of a day.

    targets_h : equivalent hours asked for [target], ascending within passes, last two final set and ready
    set_h : hours from mixing [target, section]
    drying : largest evaporation before final set [section]
    coat_max_c, surface_min_c : [section]
    frozen : whether the surface froze while young [section]
    """

    targets_h: FloatArray
    set_h: FloatArray
    drying: FloatArray
    coat_max_c: FloatArray
    surface_min_c: FloatArray
    frozen: NDArray[np.bool_]

    def at(self, equivalent_h: float) -> FloatArray:
        """Hours from mixing to any equivalent age inside the table [section], linear between its targets."""
        order = np.argsort(self.targets_h)
        ages = np.concatenate(([0.0], self.targets_h[order]))
        return np.array(
            [np.interp(equivalent_h, ages, np.concatenate(([0.0], column[order]))) for column in self.set_h.T]
        )


def section_sets(
    base: float,
    mixed_h: FloatArray,
    job: PlasterJob,
    weather: HourlyWeather,
    readings: tuple[tuple[float, float], ...] = (),
) -> SectionSets:
    """Times of set of sections mixed at *mixed_h*; *base* hours of weather lie before hour 0.

    A reading (hour, temperature) of shell or coat corrects the column from then on. With the material at air
    temperature it shifts all later temperatures by what it differs from the air (the mean of several).
    """
    if job.material == "column":
        return _by_column(base, mixed_h, job, weather, readings)
    hours = site_hours(weather, job.shelter)
    clock = job.clock
    temp = hours.temp_c
    if readings:
        temp = temp + _shift_c(temp, base, readings)
    set_h, drying, hottest, coldest = air_table(
        temp,
        hours.humidity,
        hours.wind_m_s,
        base,
        mixed_h,
        np.asarray(job.targets_h),
        clock.activation_k,
        clock.reference_c,
        job.limits.frost_safe_age_h,
        job.evaporation == "uno",
    )
    night = float(np.min(temp[int(base + NIGHT_FROM_H) : int(base + NIGHT_TO_H)], initial=np.inf))
    return SectionSets(
        job.targets_h,
        set_h,
        drying,
        hottest,
        np.full(len(mixed_h), night - SURFACE_BELOW_AIR_C),
        coldest <= job.limits.surface_min_c,
    )


def _by_column(
    base: float,
    mixed_h: FloatArray,
    job: PlasterJob,
    weather: HourlyWeather,
    readings: tuple[tuple[float, float], ...],
) -> SectionSets:
    """Coats at every quarter hour around the mixing times, and linear between them."""
    read = readings_at([(base + hour, value) for hour, value in readings])
    course = course_with_readings(weather, job, read) if readings else course_of(weather, job)
    place = (base + mixed_h) * STEPS_AN_HOUR
    grid = np.arange(np.floor(place.min()), np.ceil(place.max()) + 1)
    night = (int((base + NIGHT_FROM_H) * STEPS_AN_HOUR), int((base + NIGHT_TO_H) * STEPS_AN_HOUR))
    laid = coats_of(
        course,
        job,
        grid,
        job.targets_h,
        frost_safe_age_h=job.limits.frost_safe_age_h,
        night_steps=night,
        readings=read,
    )

    def at_sections(values: FloatArray) -> FloatArray:
        return np.interp(place, grid, values)

    low = at_sections(laid.surface_min_c)
    return SectionSets(
        job.targets_h,
        np.array([at_sections(row) for row in laid.set_h]),
        at_sections(laid.drying),
        at_sections(laid.coat_max_c),
        at_sections(laid.night_min_c),
        low <= job.limits.surface_min_c,
    )


def _shift_c(temp: FloatArray, base: float, readings: tuple[tuple[float, float], ...]) -> FloatArray:
    stamps = np.arange(1, len(temp) + 1) - base
    off = np.zeros(len(temp))
    seen: list[float] = []
    for when, reading in sorted(readings):
        seen.append(reading - float(np.interp(when, stamps, temp)))
        off[stamps >= when] = np.mean(seen)
    return off


@dataclass(frozen=True)
class Coat:
    """The coat whose set is tabulated; fields as in :class:`jobs.timeline.plaster_job.PlasterJob`.

    The place matters only where the weather gives no irradiance; *deep_c* None is the lowest of the profile.
    """

    thickness_m: float = 0.012
    colour: str = "mid"
    mix_c: float | None = None
    evaporation: Formula = "menzel"
    shelter: float = 1.0
    sky_view: float = 1.0
    frost_safe_age_h: float = 24.0
    shell_m: float = 0.20
    deep_c: float | None = None
    latitude_deg: float = 36.0
    longitude_deg: float = -80.0


def set_table_h(
    weather: HourlyWeather,
    profile_c: ArrayLike | None,
    lay_hours: ArrayLike,
    coat: Coat,
    set_clock: SetClock,
    fractions: ArrayLike = PASSES,
) -> SetTable:
    """Hours from mixing to each fraction of initial set, final set and hard enough for water, by lay hour.

    Parameters
    ----------
    weather : one course
    profile_c : temperatures through shell and soil, from the top, at the beginning of the weather [cell], as
        ``bare_shell_profile_c`` gives them, or one number for all of it; None takes the plaster at the
        temperature of the air
    lay_hours : hours after the beginning of the weather, rounded to quarter hours with a profile [lay hour]
    coat, set_clock : what is laid and how it sets
    fractions : of initial set

    Raises
    ------
    ValueError
        For a lay hour outside the weather, a profile of other length, or weather with scenarios.
    """
    lay_at = in_range("lay hour", lay_hours, 0, weather.hours, "h").ravel()
    targets = set_clock.targets_h(fractions)
    if profile_c is None:
        hours = site_hours(weather, coat.shelter)
        tabulated = air_table(
            hours.temp_c, hours.humidity, hours.wind_m_s, 0.0, lay_at, targets, set_clock.activation_k,
            set_clock.reference_c, coat.frost_safe_age_h, coat.evaporation == "uno",
        )  # fmt: skip
        return SetTable(*tabulated, tabulated[3] <= 0.0)
    uno = coat.evaporation == "uno"
    build = Build(coat.thickness_m, coat.shell_m)
    steps = step_weather(weather, coat.latitude_deg, coat.longitude_deg, coat.shelter, coat.sky_view, uno, 0)
    first = np.array(np.broadcast_to(np.asarray(profile_c, float), factors_of(build, False).depth_m.shape))
    deep = float(first[-1]) if coat.deep_c is None else coat.deep_c
    profiles, surface = bare_profiles_c(steps, first, build, deep, uno)
    run = coat_run(coat.colour, coat.mix_c, set_clock, uno, coat.frost_safe_age_h)
    laid = lay(Course(steps, profiles, surface, deep), build, np.round(lay_at * STEPS_AN_HOUR), targets, run)
    return SetTable(laid.set_h, laid.drying, laid.coat_max_c, laid.surface_min_c, laid.surface_min_c <= 0.0)
