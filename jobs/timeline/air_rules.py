"""What a day's weather allows, judged on air and rain alone: the cheap screen before the shell's temperature model.

Every function takes the scenarios still at a stage (*rows*) and one day, so that only days that are reached cost
anything. The limits are the firm's. A value of the weather belongs to the end of its hour. Thunder is left to
the morning itself: no scenario knows it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum
from typing import NamedTuple

import numpy as np

from jobs.physics.constants import HARDENING_ACTIVATION_K
from jobs.physics.evaporation import evaporation_menzel_kg_m2_h
from jobs.physics.heat import heat_index_c
from jobs.physics.psychrometrics import relative_humidity
from jobs.physics.setting import rate_factor
from jobs.physics.validity import FloatArray
from jobs.timeline.crew_room import BoolArray, FillOptions, IntArray
from jobs.timeline.limits import Limits
from jobs.timeline.set_clock import PASSES, SetClock
from jobs.timeline.weather import HourlyWeather
from jobs.timeline.work_hours import HALF, REST_SHARE

REQUIRED = ("temp_air_c", "dew_point_c", "wind_m_s", "rain_mm")
HEAT_INDEX_C = (-50.0, 55.0)  # range of the heat index formula
HEAT_FROM_C = 24.0  # below, no heat index reaches 80 F


class Cause(IntEnum):
    """What kept a stage from running on a day."""

    NONE = 0
    CREW = 1
    RAIN = 2
    COLD = 3
    HOT = 4
    WIND = 5
    DRYING = 6
    DARK = 7
    DEW = 8
    CURE = 9
    RECOAT = 10
    REFUSED = 11
    SHELL = 12
    FILL_CREW = 13
    HOSE_FROST = 14
    WORK = 15


@dataclass(frozen=True)
class DayHabits:
    """How the firm's days run; wall-clock hours of the site.

    Parameters
    ----------
    laying_h : laying of the whole pool [h]: area over laying rate
    start_hours : starting hours of a plaster day that are tried
    bond_hours : the bond coat is laid between these hours (to before the second)
    plaster_from_hour : the bond coat must be ripe by then
    wind_share : wind at the surface over wind at 10 m
    """

    laying_h: float = 2.33
    start_hours: tuple[int, ...] = (6, 7, 8, 9, 10, 11, 12)
    bond_hours: tuple[int, int] = (9, 15)
    plaster_from_hour: int = 7
    wind_share: float = 0.48


class PlasterStarts(NamedTuple):
    """Answer of one day: starting hours and the fill each allows [row, start]; why there is none [row]."""

    allowed: BoolArray
    option: IntArray
    reason: IntArray


@dataclass(frozen=True, eq=False)
class AirCourse:
    """Air and rain of every scenario, shape [scenario, hour], under one set of limits."""

    temp_c: FloatArray
    dew_c: FloatArray
    wind_m_s: FloatArray
    rain_mm: FloatArray
    set_factor: FloatArray
    limits: Limits = field(repr=False)
    clock: SetClock = field(repr=False)
    habits: DayHabits = field(repr=False)

    @classmethod
    def of(
        cls,
        weather: HourlyWeather,
        limits: Limits,
        clock: SetClock,
        habits: DayHabits,
        set_time_factor: FloatArray | None = None,
    ) -> AirCourse:
        """The course of *weather*, [hour] or [scenario, hour].

        Parameters
        ----------
        set_time_factor : the mix takes this many times longer to set than stated, shape [scenario]; None: 1

        Raises
        ------
        ValueError
            If air temperature, dew point, wind or rain has a gap: nothing is filled silently.
        """
        arrays = [np.atleast_2d(getattr(weather, name)) for name in REQUIRED]
        for name, array in zip(REQUIRED, arrays, strict=True):
            if np.isnan(array).any():
                hour = int(np.argwhere(np.isnan(array))[0][-1])
                raise ValueError(f"{name} is missing in hour {hour} of the weather; a fill day needs every hour.")
        factor = np.ones(len(arrays[0])) if set_time_factor is None else np.asarray(set_time_factor, np.float64)
        return cls(arrays[0], arrays[1], arrays[2], arrays[3], factor, limits, clock, habits)

    @property
    def hours(self) -> int:
        """Hours of weather."""
        return int(self.temp_c.shape[-1])

    @property
    def scenarios(self) -> int:
        """Number of scenarios."""
        return int(self.temp_c.shape[0])

    def window(self, values: FloatArray, rows: IntArray, begin: int, end: int) -> FloatArray:
        """Hours *begin* to before *end* of some scenarios; beyond the weather the last hour is repeated."""
        inside = values[rows, max(begin, 0) : min(end, self.hours)]
        if end <= self.hours:
            return inside
        last = values[rows, self.hours - 1 : self.hours]
        return np.concatenate([inside, np.repeat(last, end - max(self.hours, begin), axis=1)], axis=1)

    def prep_worth_h(self, rows: IntArray, wall: IntArray, working: BoolArray) -> FloatArray:
        """Prep hours that get done on a day [row]: dry, not freezing, shortened by heat.

        Parameters
        ----------
        wall : hour of the weather at each wall-clock hour, shape [24]; negative ones are past
        working : wall-clock hours in which the crew has room, shape [24]
        """
        hours = np.flatnonzero(working & (wall >= 0))
        if not hours.size:
            return np.zeros(rows.size)
        at = np.ix_(rows, np.minimum(wall[hours], self.hours - 1))
        temp, limits = self.temp_c[at], self.limits
        dry = self.rain_mm[at] < limits.prep_rain_max_mm
        worth = (dry & (temp > limits.prep_air_min_c)).astype(np.float64)
        if temp.max(initial=-99.0) > HEAT_FROM_C:
            heat = heat_index_c(np.clip(temp, *HEAT_INDEX_C), relative_humidity(temp, self.dew_c[at]))
            noon = (hours >= limits.heat_half_from_h) & (hours < limits.heat_half_to_h)
            worth *= np.where(heat >= limits.heat_high_c, np.where(noon, HALF, REST_SHARE), 1.0)
            worth[heat >= limits.heat_stop_c] = 0.0
        total: FloatArray = worth.sum(axis=1)
        return total

    def bond_closed(self, rows: IntArray, wall: IntArray) -> IntArray:
        """Why a bond coat cannot be laid on a day [row]; 0 where it can.

        The mean air of the bond hours stands for the substrate: a massive shell does not follow single hours.
        """
        limits = self.limits
        begin, end = (int(wall[hour]) for hour in self.habits.bond_hours)
        dry_until = end + int(np.ceil(limits.bond_rain_free_after_h))
        rain = (self.window(self.rain_mm, rows, begin, dry_until) > limits.rain_counts_mm).any(axis=1)
        temp = self.window(self.temp_c, rows, begin, end)
        cold = (temp < limits.air_min_c).any(axis=1)
        damp = (temp - self.window(self.dew_c, rows, begin, end)).mean(axis=1) < limits.bond_above_dew_point_c
        gone = np.full(rows.size, begin < 0)
        return np.select([gone, rain, cold, damp], [Cause.CREW, Cause.RAIN, Cause.COLD, Cause.DEW], Cause.NONE)

    def cure_gain_h(self, rows: IntArray, begin: int, end: int) -> FloatArray:
        """Equivalent age at 20 C gained by the bond coat between two hours of the weather [row]."""
        temp = self.window(self.temp_c, rows, max(begin - 1, 0), max(end, 0))
        middle = 0.5 * (temp[:, 1:] + temp[:, :-1]) if begin > 0 else temp
        rate = np.asarray(rate_factor(middle, 20.0, HARDENING_ACTIVATION_K))
        gained: FloatArray = rate.sum(axis=1)
        return gained

    def plaster_starts(
        self, rows: IntArray, wall: IntArray, dusk_h: float | None, options: FillOptions
    ) -> PlasterStarts:
        """Starting hours of a plaster day that the air allows.

        Parameters
        ----------
        rows : scenarios
        wall : hour of the weather at each wall-clock hour of the day, shape [24]
        dusk_h : wall-clock hour of civil dusk; None: no rule. A day is dark when the last pass over the last-laid
            section falls due after it: a start that may still fail by the hands is left to the shell's judge
        options : starts of the fill that crews can serve

        Returns
        -------
        allowed [row, start]; the first fill option after the surface is ready [row, start]; for rows without a
        start the cause that closes most starting hours [row].
        """
        limits, habits = self.limits, self.habits
        begin = max(int(wall[habits.start_hours[0]]), 0)
        starts = np.maximum(wall[list(habits.start_hours)], begin) - begin
        end = begin + int(starts[-1]) + 24 + int(np.ceil(limits.air_min_for_h))
        temp = self.window(self.temp_c, rows, begin, end)
        finish, ready, last_due = self._finished(temp, rows, starts)
        option = options.first_from(begin + ready)
        served = option < options.start_h.size
        opening, full = (np.append(hours, np.inf)[option] for hours in (options.start_h, options.full_h))
        waits = opening - begin - finish
        first, done = np.broadcast_to(starts, finish.shape), np.ceil(finish).astype(int)
        protect = np.ceil(np.minimum(full - begin, finish + limits.air_min_for_h)).astype(int)
        rain = self.window(self.rain_mm, rows, begin, end) > limits.rain_counts_mm
        wind = habits.wind_share * self.window(self.wind_m_s, rows, begin, end)
        humidity = relative_humidity(temp, self.window(self.dew_c, rows, begin, end))
        drying = evaporation_menzel_kg_m2_h(temp, temp, humidity, 3.6 * wind) > limits.evaporation_stop_kg_m2_h
        closed = {
            Cause.COLD: _any_between(temp < limits.air_min_c, first, protect),
            Cause.RAIN: _any_between(rain, first, done + int(np.ceil(limits.rain_free_after_set_h))),
            Cause.HOT: _any_between(temp > limits.air_max_c, first, done),
            Cause.WIND: _any_between(wind > limits.wind_max_m_s, first, done),
            Cause.DRYING: _any_between(np.asarray(drying), first, done),
            Cause.CREW: np.broadcast_to(wall[list(habits.start_hours)] < 0, finish.shape),
            Cause.FILL_CREW: ~served | (waits > limits.fill_latest_h),
        }
        if dusk_h is not None:
            closed[Cause.DARK] = np.asarray(habits.start_hours) + last_due - starts > dusk_h
        shut = np.stack(list(closed.values()))
        allowed = np.asarray(~shut.any(axis=0))
        most = np.asarray(list(closed), dtype=np.int_)[shut.sum(axis=2).argmax(axis=0)]
        return PlasterStarts(allowed, option, np.where(allowed.any(axis=1), int(Cause.NONE), most))

    def _finished(
        self, temp: FloatArray, rows: IntArray, starts: IntArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Final set of the last-laid section, hard enough for water, last pass due; hours into the window [row, start].

        The last-laid section is taken as mixed at the end of laying.
        """
        middle = temp.copy()
        middle[:, 1:] = 0.5 * (temp[:, 1:] + temp[:, :-1])
        rate = np.asarray(rate_factor(middle, self.clock.reference_c, self.clock.activation_k))
        age = np.zeros((temp.shape[0], temp.shape[1] + 1))
        np.cumsum(rate, axis=1, out=age[:, 1:])
        laid = starts + self.habits.laying_h
        whole = np.floor(laid).astype(int)
        at_laid = age[:, whole] + (laid - whole) * rate[:, whole]
        final = self.clock.reference_set_h * self.clock.final_ratio
        factor = self.set_factor[rows, None]
        finish = _reached(age, rate, at_laid + final * factor)
        ready = _reached(age, rate, at_laid + (final + self.clock.surface_ready_h) * factor)
        last_pass = max(due for due, _ in PASSES) * self.clock.reference_set_h
        return finish, ready, _reached(age, rate, at_laid + last_pass * factor)


def _reached(age: FloatArray, rate: FloatArray, needed: FloatArray) -> FloatArray:
    """Hours until an age [row, hour + 1] that grows at *rate* [row, hour] passes *needed* [row, start]."""
    after = (age[:, None, :] < needed[:, :, None]).sum(axis=2)
    after = np.minimum(after, rate.shape[1])
    row = np.arange(len(age))[:, None]
    hours: FloatArray = after - 1 + (needed - age[row, after - 1]) / rate[row, after - 1]
    return hours


def _any_between(bad: BoolArray, begin: IntArray, end: IntArray) -> BoolArray:
    """Whether any hour from *begin* to before *end* is bad, shape [row, start]."""
    total = np.zeros((bad.shape[0], bad.shape[1] + 1), dtype=np.int32)
    np.cumsum(bad, axis=1, out=total[:, 1:])
    row = np.arange(bad.shape[0])[:, None]
    found: BoolArray = total[row, np.clip(end, 0, bad.shape[1])] > total[row, begin]
    return found
