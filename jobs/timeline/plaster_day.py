"""A plaster day: when each trowel pass falls due, how many hands it takes, what closes it, when best to start.

Times are hours since local midnight (``h``); they equal clock times except on days on which clocks change.
``PlasterDay.clock`` turns them into aware datetimes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from jobs.physics.validity import FloatArray, in_range
from jobs.timeline import day_rules
from jobs.timeline.day_rules import DayCrew, DayLimits, Reason, day_limits, judge, reasons_of
from jobs.timeline.plaster_job import PlasterJob
from jobs.timeline.set_table import Coat, SectionSets, SetTable, section_sets, set_table_h
from jobs.timeline.site_hours import site_hours
from jobs.timeline.trowelling import finishers_needed, most_urgent_first, pass_times_h
from jobs.timeline.weather import HourlyWeather

__all__ = [
    "Coat",
    "PlasterDay",
    "PlasterJob",
    "SetTable",
    "StartChoices",
    "best_start_h",
    "finishers_needed",
    "pass_times_h",
    "plaster_day",
    "set_table_h",
    "start_choices",
]

HOURS_SAME = 1 / 60  # starts whose margins differ by less are equally good, and the earlier is taken
LATEST_START_H = 17.0
START_STEP_H = 0.5


class PassTime(NamedTuple):
    """One pass over one section, hours since midnight."""

    section: int
    due_h: float
    until_h: float
    done_h: float


class TrowelPass(NamedTuple):
    """One pass over the pool: due at the first section's release, until the last section's deadline."""

    number: int
    due_h: float
    until_h: float
    done_h: float
    sections: tuple[PassTime, ...]


class Section(NamedTuple):
    """One part of the surface in laying order, hours since midnight."""

    number: int
    area_m2: float
    mixed_h: float
    initial_set_h: float
    final_set_h: float


@dataclass(frozen=True)
class PlasterDay:
    """One start of one day, judged.

    Hours count from local midnight and are NaN where the plaster does not set or no weather is known;
    ``reasons`` lists everything that closes the start, not only the first.
    """

    day: date
    zone: str
    midnight: datetime
    start_h: float
    allowed: bool
    reasons: tuple[Reason, ...]
    notices: tuple[str, ...]
    sections: tuple[Section, ...]
    passes: tuple[TrowelPass, ...]
    finishers_needed: float
    slack_min: float
    evaporation_max_kg_m2_h: float
    air_min_c: float
    night_min_air_c: float
    night_min_surface_c: float
    coat_max_c: float
    heat_index_max_c: float
    first_pass_h: float
    last_pass_h: float
    last_final_set_h: float
    ready_h: float
    dawn_h: float
    dusk_h: float

    def clock(self, hours: float) -> datetime:
        """The site's clock time of an hour of this day."""
        return (self.midnight + timedelta(hours=hours)).astimezone(ZoneInfo(self.zone))


@dataclass(frozen=True)
class StartChoices:
    """The starts of one day: the best, the next best, and what closes each of the others (clock hours)."""

    best_h: float | None
    next_best_h: float | None
    margin_h: Mapping[float, float]
    closed: Mapping[float, tuple[Reason, ...]]


def plaster_day(
    day: date,
    start_h: float,
    job: PlasterJob,
    weather: HourlyWeather,
    *,
    now: datetime | None = None,
    mixed_at_h: Mapping[int, float] | None = None,
    readings: tuple[tuple[float, float], ...] = (),
    passes_done: Mapping[tuple[int, int], float] | None = None,
) -> PlasterDay:
    """Judge one start and lay out its trowel passes.

    Parameters
    ----------
    day : local date
    start_h : clock time at which the first section is mixed [h], 0 to 24
    job : surface, crew, mix, limits
    weather : one course of hours, from the day's midnight or before to 72 h after the last mixing
    now : on the morning itself, within 24 h of the start, a high rain chance closes it; None never
    mixed_at_h : clock times at which sections (from 1) were really mixed, in place of the planned ones
    readings : (clock time, temperature [C]) of shell or coat measured on site
    passes_done : (pass, section), both from 1: clock time at which it was really done; what is left is timed from the
        last of them on, and the slack is that of what is left

    Raises
    ------
    ValueError
        For a start outside the day, a section or pass that does not exist, or weather that begins too late.
    """
    in_range("start of plastering", start_h, 0, 24, "h")
    start = job.elapsed_h(day, start_h)
    mixed = job.mixed_h(start)
    for section, clock_h in (mixed_at_h or {}).items():
        in_range("section", section, 1, job.section_count, "")
        mixed[section - 1] = job.elapsed_h(day, clock_h)
    read = tuple((job.elapsed_h(day, clock_h), temp) for clock_h, temp in readings)
    base = _base(day, job, weather)
    sets = section_sets(base, mixed, job, weather, read)
    crew, limits = crew_of(day, job), limits_on(day, start, job, now)
    hours = site_hours(weather, job.shelter)
    mask, figures = judge(hours, base, mixed, sets.set_h, sets.drying, bool(sets.frozen.any()), crew, limits, True)
    done: dict[tuple[int, int], float] = {}
    for (number, section), clock_h in (passes_done or {}).items():
        in_range("trowel pass", number, 1, len(job.passes), "")
        in_range("section", section, 1, job.section_count, "")
        done[number, section] = job.elapsed_h(day, clock_h)
    return _described(day, start_h, job, mixed, sets, crew, int(mask), figures, done)


def start_choices(
    day: date,
    job: PlasterJob,
    weather: HourlyWeather,
    *,
    now: datetime | None = None,
    starts_h: tuple[float, ...] | None = None,
) -> StartChoices:
    """Judge every half hour from civil dawn to 17:00, or the given clock times.

    The best start has the largest of ``min(slack, dusk - last pass)``; within a minute the earlier one.
    """
    margin: dict[float, float] = {}
    closed: dict[float, tuple[Reason, ...]] = {}
    for clock_h in candidate_starts_h(day, job) if starts_h is None else starts_h:
        one = plaster_day(day, clock_h, job, weather, now=now)
        if one.allowed:
            margin[clock_h] = min(one.slack_min / 60, np.inf if job.lit else one.dusk_h - one.last_pass_h)
        else:
            closed[clock_h] = one.reasons
    best = best_of(margin)
    rest = {clock_h: value for clock_h, value in margin.items() if clock_h != best}
    return StartChoices(best, best_of(rest), margin, closed)


def best_start_h(day: date, job: PlasterJob, weather: HourlyWeather, *, now: datetime | None = None) -> float | None:
    """Clock time of the best allowed start [h], None if the day is closed (:func:`start_choices` says why)."""
    return start_choices(day, job, weather, now=now).best_h


def candidate_starts_h(day: date, job: PlasterJob) -> tuple[float, ...]:
    """Half hours of the clock from civil dawn (midnight if lit) to 17:00."""
    dawn = 0.0 if job.lit else max(0.0, job.daylight_h(day)[0])
    first = int(np.ceil(dawn / START_STEP_H))
    return tuple(START_STEP_H * slot for slot in range(first, int(LATEST_START_H / START_STEP_H) + 1))


def best_of(margin_h: Mapping[float, float]) -> float | None:
    """The start with the largest margin; within a minute the earlier."""
    if not margin_h:
        return None
    most = max(margin_h.values())
    return min(start for start, margin in margin_h.items() if margin >= most - HOURS_SAME)


def crew_of(day: date, job: PlasterJob) -> DayCrew:
    """Crew and light of a day for the inner loop."""
    dawn, dusk = (-np.inf, np.inf) if job.lit else job.daylight_h(day)
    return DayCrew(job.laying_h, job.work_h, float(job.finishers), job.free_while_laying, dawn, dusk)


def limits_on(day: date, start_h: float, job: PlasterJob, now: datetime | None) -> DayLimits:
    """Limits for a start *start_h* after midnight; the rain chance closes only within 24 h of *now*."""
    begins = job.midnight(day) + timedelta(hours=start_h)
    soon = now is not None and timedelta(0) <= begins - now <= timedelta(hours=24)
    return day_limits(job.limits, job.full_after_h, soon)


def _base(day: date, job: PlasterJob, weather: HourlyWeather) -> float:
    base = weather.position(job.midnight(day))
    if base < 0:
        raise ValueError(f"weather begins at {weather.start:%Y-%m-%d %H:%M} UTC, after the midnight of {day}.")
    return base


def _described(
    day: date,
    start_h: float,
    job: PlasterJob,
    mixed: FloatArray,
    sets: SectionSets,
    crew: DayCrew,
    mask: int,
    figures: FloatArray,
    passes_done: Mapping[tuple[int, int], float],
) -> PlasterDay:
    initial = sets.at(job.clock.reference_set_h)
    area = job.area_m2 / job.section_count
    sections = tuple(
        Section(number + 1, area, float(mixed[number]), float(mixed[number] + initial[number]),
                float(mixed[number] + sets.set_h[-2, number]))
        for number in range(job.section_count)
    )  # fmt: skip
    passes = _passes(job, mixed, sets.set_h, crew, passes_done) if np.isfinite(sets.set_h).all() else ()
    times = [one for each in passes for one in each.sections]
    left = [one for each in passes for one in each.sections if (each.number, one.section) not in passes_done]
    slack = min((one.until_h - one.done_h for one in left), default=float(figures[day_rules.SLACK]))
    dawn, dusk = job.daylight_h(day)
    return PlasterDay(
        day=day,
        zone=job.zone,
        midnight=job.midnight(day),
        start_h=start_h,
        allowed=mask == 0,
        reasons=reasons_of(mask, figures, job.limits, crew),
        notices=_notices(job, figures, sets),
        sections=sections,
        passes=passes,
        finishers_needed=float(figures[day_rules.HANDS_NEEDED]),
        slack_min=60 * slack,
        evaporation_max_kg_m2_h=float(figures[day_rules.DRYING]),
        air_min_c=float(figures[day_rules.AIR_LOW]),
        night_min_air_c=float(figures[day_rules.NIGHT_LOW]),
        night_min_surface_c=float(sets.surface_min_c.min()),
        coat_max_c=float(sets.coat_max_c.max()),
        heat_index_max_c=float(figures[day_rules.HEAT_HIGH]),
        first_pass_h=passes[0].due_h if passes else float("nan"),
        last_pass_h=max((one.done_h for one in times), default=float("nan")),
        last_final_set_h=float(figures[day_rules.LAST_SET]),
        ready_h=float(figures[day_rules.READY]),
        dawn_h=dawn,
        dusk_h=dusk,
    )


def _passes(
    job: PlasterJob,
    mixed: FloatArray,
    set_h: FloatArray,
    crew: DayCrew,
    passes_done: Mapping[tuple[int, int], float],
) -> tuple[TrowelPass, ...]:
    """Every pass with its times; what is done already keeps its time, the rest follows most urgent first."""
    count = len(job.passes)
    due = (mixed + set_h[0 : 2 * count : 2]).T  # [section, pass]
    until = (mixed + set_h[1 : 2 * count : 2]).T
    left = np.ones(due.shape, bool)
    done = np.empty(due.shape)
    for (number, section), hour in passes_done.items():
        left[section - 1, number - 1], done[section - 1, number - 1] = False, hour
    if left.any():
        begins = np.maximum(due[left], max(passes_done.values(), default=-np.inf))
        work, laid = np.full(begins.size, job.work_h), float(mixed.max()) + crew.laying_h / len(mixed)
        hands = float(job.finishers)
        done[left] = most_urgent_first(begins, until[left], work, hands, laid, crew.free_while_laying)
    return tuple(
        TrowelPass(
            one + 1,
            float(due[:, one].min()),
            float(until[:, one].max()),
            float(done[:, one].max()),
            tuple(
                PassTime(row + 1, float(due[row, one]), float(until[row, one]), float(done[row, one]))
                for row in range(len(mixed))
            ),
        )
        for one in range(count)
    )


def _notices(job: PlasterJob, figures: FloatArray, sets: SectionSets) -> tuple[str, ...]:
    """What to watch on a day that is open: care, not closure."""
    limits = job.limits
    said = []
    if figures[day_rules.DRYING] >= limits.evaporation_watch_kg_m2_h:
        said.append("evaporation_watch")
    if figures[day_rules.AIR_LOW] < limits.air_preferred_c:
        said.append("cold_care")
    air, wind = figures[day_rules.AIR_HIGH], figures[day_rules.WIND_HIGH]
    if air > limits.hot_notice_c or (air > limits.hot_notice_windy_c and wind > limits.hot_notice_wind_m_s):
        said.append("hot_care")
    if job.mix_c is not None and job.mix_c > limits.mix_max_c:
        said.append("mix_too_warm")
    heat = figures[day_rules.HEAT_HIGH]
    if heat >= limits.heat_high_c:
        said.append("heat_high")
    elif heat >= limits.heat_notice_c:
        said.append("heat_notice")
    if float(sets.surface_min_c.min()) < limits.air_min_c <= figures[day_rules.NIGHT_LOW]:
        said.append("surface_colder_than_air")
    return tuple(said)
