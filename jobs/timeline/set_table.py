"""How long a batch takes to set, by the hour at which it is laid."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from jobs.physics.validity import FloatArray, in_range
from jobs.timeline.plaster_job import PlasterJob
from jobs.timeline.set_clock import PASSES, Formula, SetClock, air_table
from jobs.timeline.site_hours import site_hours
from jobs.timeline.weather import HourlyWeather


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

    With the material at air temperature, a reading shifts all later temperatures by what it differs from the
    air at its time (the mean of several).
    """
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
    return SectionSets(job.targets_h, set_h, drying, hottest, coldest, coldest <= job.limits.surface_min_c)


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
    """The coat whose set is tabulated; see :class:`jobs.timeline.plaster_job.PlasterJob` for the fields."""

    thickness_m: float = 0.012
    colour: str = "mid"
    mix_c: float | None = None
    evaporation: Formula = "menzel"
    shelter: float = 1.0
    sky_view: float = 1.0
    frost_safe_age_h: float = 24.0


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
    profile_c : temperatures of the shell; None takes the plaster at the temperature of the air
    lay_hours : hours after the beginning of the weather [lay hour]
    coat, set_clock : what is laid and how it sets
    fractions : of initial set

    Raises
    ------
    ValueError
        For a lay hour outside the weather, or weather with scenarios.
    """
    lay = in_range("lay hour", lay_hours, 0, weather.hours, "h").ravel()
    hours = site_hours(weather, coat.shelter)
    if profile_c is not None:
        raise ValueError("a profile needs the column model.")
    tabulated = air_table(
        hours.temp_c,
        hours.humidity,
        hours.wind_m_s,
        0.0,
        lay,
        set_clock.targets_h(fractions),
        set_clock.activation_k,
        set_clock.reference_c,
        coat.frost_safe_age_h,
        coat.evaporation == "uno",
    )
    return SetTable(*tabulated, tabulated[3] <= 0.0)
