"""Cost of the expected dates of jobs: rows of days for the planner, the weather strip, the fill band.

``python -m tests.benchmarks.expected_dates --json [--jobs 8] [--scenarios 200] [--days 45]`` prints one JSON object
as its last line: jobs, scenarios, days, core_seconds (processor time of one core, machine code warm), those of one
band alone in three situations, and the unit costs behind them. Nothing here asserts a time.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np

from jobs.timeline.column import bare_profiles_c, first_profile_c, laid_coats
from jobs.timeline.column_course import coat_run, coats_of, course_of
from jobs.timeline.column_weather import Ground, ground_of, step_weather
from jobs.timeline.crew_room import CrewRoom
from jobs.timeline.day_starts import day_frame, judged_starts
from jobs.timeline.fill_band import band, fill_days, production_draws_h
from jobs.timeline.plaster_job import PlasterJob
from jobs.timeline.scenarios import ScenarioSite, weather_scenarios
from jobs.timeline.shell_rule import shell_rule
from jobs.timeline.slipping import SlipJob
from jobs.timeline.stage_job import StageJob
from jobs.timeline.stages import bond_rows, fill_rows, plaster_outlook
from jobs.timeline.verdicts import day_verdicts
from jobs.timeline.weather import HourlyWeather, joined
from jobs.timeline.weather_files import TypicalYear, typical_year
from jobs.timeline.work_hours import prep_outlook

ZONE = "America/New_York"
TODAY = date(2026, 4, 15)
PAST_DAYS = 20
AFTER_DAYS = 4  # cold is asked for 48 h after the last day's laying


def job_number(number: int, ground: Ground) -> StageJob:
    """Invented jobs that differ as a firm's jobs do."""
    area = 60.0 + 17.0 * (number % 6)
    plaster = PlasterJob(
        area, 40.0, 45.0, 4 + number % 3, 36.1, -79.95, ZONE, colour=("white", "mid", "grey")[number % 3], ground=ground
    )
    return StageJob(plaster, volume_m3=0.75 * area)


def scenarios_of(year: TypicalYear, count: int, days: int, seed: int, season: date | None = None) -> HourlyWeather:
    """Climate scenarios of one place after the same past for all; *season* lends its weather to the dates."""
    issue = datetime(2026, 4, 15, 4, tzinfo=UTC)
    shift = 0 if season is None else (season - TODAY).days
    past = year.on(issue - timedelta(days=PAST_DAYS), issue, shift_days=shift)
    climate = year.on(datetime(2025, 1, 1, 5, tzinfo=UTC), datetime(2026, 1, 1, 5, tzinfo=UTC), shift_days=shift)
    ahead = weather_scenarios(None, None, climate, ScenarioSite(ZONE), issue, 24 * (days + AFTER_DAYS), count, seed)
    return joined([past, ahead])


def expected_dates(job: StageJob, weather: HourlyWeather, days: int, scenarios: int) -> int:
    """Everything that is computed for one job when its inputs change; the even-chance fill day."""
    outlook = plaster_outlook(job, weather, TODAY, days)
    bond_rows(job, weather, TODAY, days)
    fill_rows(job, weather, TODAY, days)
    prep_outlook(job, weather, TODAY, days)
    day_verdicts(job, weather, TODAY, days, outlook=outlook)
    ahead = weather.slice(job.plaster.midnight(TODAY), weather.end)
    shifts = np.zeros((days, 24), bool)
    shifts[:, 7:16] = True
    room = CrewRoom(ZONE, TODAY, days - 1, shifts, np.ones(days, bool))
    slip = SlipJob(limits=job.plaster.limits, clock=job.plaster.clock)
    drawn = production_draws_h(24.0, scenarios, 7)
    return band(fill_days(ahead, slip, room, drawn, day_rule=outlook.rule()), horizon_day=days - 1).p50


def band_alone(job: StageJob, weather: HourlyWeather, days: int, scenarios: int, plaster_free: float, seed: int) -> int:
    """One job's band with the column model as the judge of each plaster day that the air allows and the job reaches.

    *plaster_free*: share of days on which a plaster crew is free.
    """
    ahead = weather.slice(job.plaster.midnight(TODAY), weather.end)
    shifts = np.zeros((days, 24), bool)
    shifts[:, 7:16] = True
    free = np.random.default_rng(seed).random(days) < plaster_free
    slip = SlipJob(limits=job.plaster.limits, clock=job.plaster.clock)
    drawn = production_draws_h(24.0, scenarios, seed)
    rule = shell_rule(job.plaster, weather, TODAY)
    room = CrewRoom(ZONE, TODAY, days - 1, shifts, free)
    return band(fill_days(ahead, slip, room, drawn, day_rule=rule), horizon_day=days - 1).p50


def band_seconds(year: TypicalYear, ground: Ground, scenarios: int, days: int, jobs: int) -> dict[str, float]:
    """Core seconds of one band, its scenarios included: in spring, in winter, and with a plaster crew seldom free."""
    found = {}
    for name, season, free in (("spring", TODAY, 0.6), ("winter", date(2026, 12, 1), 0.6), ("busy_crew", TODAY, 0.25)):
        begun = time.process_time()
        for number in range(jobs):
            weather = scenarios_of(year, scenarios, days, number, season)
            band_alone(job_number(number, ground), weather, days, scenarios, free, number)
        found[f"band_core_seconds_{name}"] = round((time.process_time() - begun) / jobs, 3)
    return found


def per_second(work: Callable[[], object], pieces: float, rounds: int = 3) -> float:
    """Pieces done per second of processor time, the best of some rounds, warm."""
    work()
    best = np.inf
    for _ in range(rounds):
        begun = time.process_time()
        work()
        best = min(best, time.process_time() - begun)
    return pieces / best


def unit_costs(year: TypicalYear, ground: Ground) -> dict[str, float]:
    """Site-days of bare shell and of a full coat, tables of 14 lay hours, and judged days, each per core second."""
    weather = year.on(datetime(2026, 3, 20, tzinfo=UTC), datetime(2026, 10, 1, tzinfo=UTC))
    job = job_number(1, ground).plaster
    steps = step_weather(weather, 36.1, -79.95, 1.0, 1.0, False, 0)
    course = course_of(weather, job)
    first = first_profile_c(job.build, ground.mean_c, 12.0)
    lay = np.arange(5, 19) * 4.0
    days = range(20, 120)
    three_days = np.append(job.targets_h[:-1], 1e9)
    starts = np.arange(20, 120) * 96.0
    profiles = course.profiles_at(starts / 4)
    coat = coat_run("mid", None, job.clock, False, 0.0)
    frames = [day_frame(date(2026, 5, 1) + timedelta(days=day), job) for day in range(60)]
    return {
        "bare_site_days_per_core_s": per_second(
            lambda: bare_profiles_c(steps, first, job.build, 14.0, False), weather.hours / 24
        ),
        "coated_site_days_per_core_s": per_second(
            lambda: laid_coats(steps, starts, profiles, job.build, 14.0, coat, three_days, (1, 0)), 3 * len(starts)
        ),
        "day_tables_per_core_s": per_second(
            lambda: [coats_of(course, job, lay + 96 * day, job.targets_h, frost_safe_age_h=0.0) for day in days],
            len(days),
        ),
        "judged_days_per_core_s": per_second(
            lambda: [judged_starts(frame, job, weather) for frame in frames], len(frames)
        ),
    }


def main() -> None:
    """Run it."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--json", action="store_true")
    arguments.add_argument("--jobs", type=int, default=8)
    arguments.add_argument("--scenarios", type=int, default=200)
    arguments.add_argument("--days", type=int, default=45)
    asked = arguments.parse_args()
    year = typical_year("greensboro_nc")
    ground = ground_of(year.weather)
    few = scenarios_of(year, 2, 8, 1)
    expected_dates(job_number(0, ground), few, 8, 2)  # compiles
    weather = scenarios_of(year, asked.scenarios, asked.days, 1)
    begun, fills = time.process_time(), []
    for number in range(asked.jobs):
        # a weather object of its own per job: what is kept for one job must not help the next
        own = replace(weather)
        fills.append(expected_dates(job_number(number, ground), own, asked.days, asked.scenarios))
    spent = time.process_time() - begun
    print(f"even-chance fill days {fills}; {spent / asked.jobs:.2f} core seconds per job")
    result: dict[str, float] = {
        "jobs": asked.jobs,
        "scenarios": asked.scenarios,
        "days": asked.days,
        "core_seconds": round(spent, 2),
    }
    result |= band_seconds(year, ground, asked.scenarios, asked.days, max(1, asked.jobs // 2))
    result |= {name: round(value) for name, value in unit_costs(year, ground).items()}
    print(json.dumps(result))


if __name__ == "__main__":
    main()
