"""The back-test with the temperature model of coat and shell as the last judge of a plaster day, in truth and band.

Stations with irradiance and cloud only (Greensboro, Miami); the air screens first, in truth and band alike.
"""

from __future__ import annotations

from datetime import timedelta
from functools import cache
from typing import Any, Final

import numpy as np

from jobs.timeline.air_rules import Cause
from jobs.timeline.column_weather import Ground, ground_of
from jobs.timeline.fill_band import mean_over_median, production_draws_h
from jobs.timeline.plaster_job import PlasterJob
from jobs.timeline.scenarios import weather_scenarios
from jobs.timeline.shell_rule import shell_rule
from jobs.timeline.slipping import STAGES, slips
from jobs.timeline.weather import HourlyWeather, joined
from tests.benchmarks.fill_band_jobs import (
    FIRM,
    SPAN_H,
    STATIONS,
    ZONE,
    BackTestJob,
    errors_of,
    long_course,
    population,
    year_of,
)
from tests.benchmarks.fill_band_methods import EXCLUDED_DAYS, SITE, production_learned
from tests.benchmarks.fill_band_scoring import Outcomes, Scored

JOBS: Final = 200
SCENARIOS: Final = 200
PAST_DAYS: Final = 20  # of weather that the shell remembers
WITH_SUN: Final = ("greensboro_nc", "miami_fl")
PLACES: Final = {"greensboro_nc": (36.1, -79.95), "miami_fl": (25.8, -80.27)}


def shell_back_test(count: int = JOBS, scenarios: int = SCENARIOS) -> dict[str, Any]:
    """PIT, coverage and CRPS of bands whose plaster days the column model judges."""
    jobs = [job for job in population(True, 2) if job.station.name in WITH_SUN]
    chosen = [jobs[place] for place in np.linspace(0, len(jobs) - 1, min(count, len(jobs))).astype(int)]
    samples, days, refused = [], [], 0
    for job in chosen:
        truth, forbidden = _fill_days(job, job.truth, np.array([job.true_h]))
        days.append(int(truth[0]))
        refused += forbidden
        samples.append(_fill_days(job, _scenarios(job, scenarios), _production(job, scenarios))[0])
    clusters = sorted({job.cluster for job in chosen})
    outcomes = Outcomes(
        np.array(days, dtype=np.float64),
        np.array([job.pit_u for job in chosen]),
        np.array([clusters.index(job.cluster) for job in chosen]),
    )
    band = Scored(np.array(samples, dtype=np.float64), outcomes)
    return {
        "jobs": len(chosen),
        "clusters": len(clusters),
        "scenarios": scenarios,
        "pit": band.pit_shares(),
        "coverage_90": float(band.covered(0.9).mean()),
        "stated_90": band.stated(0.9),
        "crps": float(band.crps.mean()),
        "flagged": band.flagged(),
        "true_days_forbidden_by_the_shell_alone": refused,
    }


def _scenarios(job: BackTestJob, count: int) -> HourlyWeather:
    year = year_of(job.station.name).weather
    errors = errors_of(job.station)
    return weather_scenarios(
        job.forecast, None, year, SITE, job.issue, SPAN_H, count, job.seed, errors=errors, excluded_days=EXCLUDED_DAYS
    )


def _production(job: BackTestJob, count: int) -> np.ndarray[Any, np.dtype[np.float64]]:
    found = production_learned()
    return production_draws_h(
        job.estimate_h * found.factor * mean_over_median(found.next_cv), count, job.seed, cv=found.next_cv
    )


def _fill_days(
    job: BackTestJob, weather: HourlyWeather, hours: np.ndarray[Any, np.dtype[np.float64]]
) -> tuple[np.ndarray[Any, np.dtype[np.int_]], int]:
    """Fill days, and how many plaster days the shell alone forbade."""
    past = long_course(job.station.name).slice(job.issue - timedelta(days=PAST_DAYS), job.issue)
    rule = shell_rule(plaster_job(job.station.name), joined((past, weather)), job.room.first_day)
    result = slips(weather, FIRM, job.room, hours, day_rule=rule)
    return result.fill_day, int(result.lost[:, STAGES.index("plaster"), Cause.SHELL].sum())


@cache
def plaster_job(name: str) -> PlasterJob:
    """93 m2 laid at 40 m2/h, four finishers, work after dusk possible as in the air's screen."""
    latitude, longitude = PLACES[name]
    return PlasterJob(93.0, 40.0, 45.0, 4, latitude, longitude, ZONE, lit=True, full_after_h=24.0, ground=ground(name))


@cache
def ground(name: str) -> Ground:
    return ground_of(year_of(name).weather)


assert all(station.name in PLACES for station in STATIONS if station.name in WITH_SUN)
