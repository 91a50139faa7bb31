"""What is compared in the back-test: the band, a climate-only band, the forecast taken at its word, fixed durations."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from functools import cache
from typing import Final

import numpy as np

from jobs.timeline.crew_room import IntArray
from jobs.timeline.fill_band import fill_days, mean_over_median, production_draws_h
from jobs.timeline.forecast_errors import (
    ForecastErrors,
    PartErrors,
    QuantityErrors,
    forecast_error_sd_c,
    wind_log_sd,
)
from jobs.timeline.learned import HOURS_PRIOR, Learned, learned
from jobs.timeline.rain_blocks import unit_ar1
from jobs.timeline.scenarios import ScenarioSite, weather_scenarios
from jobs.timeline.slipping import RefusalHabit
from jobs.timeline.weather import HourlyWeather
from tests.benchmarks.fill_band_jobs import (
    FIRM,
    FORECAST_DAYS,
    LATER,
    SPAN_H,
    ZONE,
    BackTestJob,
    population,
    usual,
    year_of,
)

SITE: Final = ScenarioSite(ZONE)
SCENARIOS: Final = 200
EXCLUDED_DAYS: Final = 4  # the past year is the truth itself: its own days are not drawn
REFERENCE_CV: Final = 0.20  # of production times, nothing learned
FINISHED: Final = 60  # jobs from which the firm's production times are learned
FINISHED_LEAST_H: Final = 4.0  # of an estimate that says something about production
WET_AT: Final = 0.5
ROUGH_PHI: Final = 0.96


def band_sample(
    job: BackTestJob,
    errors: ForecastErrors,
    *,
    count: int = SCENARIOS,
    members: bool = False,
    refusal: bool = False,
    plain_production: bool = False,
) -> IntArray:
    """Fill days of the band of one job, [scenario].

    *plain_production*: spread 20 % and no extra day, instead of what finished jobs taught and the usual extra day.
    """
    weather = band_weather(job, errors, count=count, members=members)
    return filled(job, weather, refusal=refusal, plain_production=plain_production)


def band_weather(
    job: BackTestJob, errors: ForecastErrors, *, count: int = SCENARIOS, members: bool = False
) -> HourlyWeather:
    """The scenarios that the band of a job rests on [scenario, hour]."""
    return weather_scenarios(
        None if members else job.forecast,
        job.members if members else None,
        year_of(job.station.name).weather,
        SITE,
        job.issue,
        SPAN_H,
        count,
        job.seed,
        errors=errors,
        excluded_days=EXCLUDED_DAYS,
    )


def rough_sample(job: BackTestJob, errors: ForecastErrors, temp_scale: float, wind_scale: float) -> IntArray:
    """The band with errors of temperature and wind of a stated scale, rough (phi 0.96) and bounded by nothing."""
    still = replace(errors, temp=QuantityErrors(PartErrors((0.0,))), wind=QuantityErrors(PartErrors((0.0,))))
    year = year_of(job.station.name).weather
    weather = weather_scenarios(
        job.forecast,
        None,
        year,
        SITE,
        job.issue,
        SPAN_H,
        SCENARIOS,
        job.seed,
        errors=still,
        excluded_days=EXCLUDED_DAYS,
    )
    hours = 24 * FORECAST_DAYS
    lead = (np.arange(hours) + 1.0) / 24.0
    rng = np.random.default_rng([job.seed, 6])
    noise = unit_ar1(rng.standard_normal((2, SCENARIOS, hours)), ROUGH_PHI)
    temp, wind = weather.temp_air_c.copy(), weather.wind_m_s.copy()
    temp[:, :hours] += np.asarray(forecast_error_sd_c(lead, temp_scale)) * noise[0]
    np.clip(temp, -49.0, 54.0, out=temp)
    logarithm = np.log(wind[:, :hours] + 0.5) + np.asarray(wind_log_sd(lead, wind_scale)) * noise[1]
    wind[:, :hours] = np.clip(np.exp(logarithm) - 0.5, 0.0, 60.0)
    rough = weather.with_fields(temp_air_c=temp, dew_point_c=np.minimum(weather.dew_point_c, temp), wind_m_s=wind)
    return filled(job, rough)


def climate_sample(job: BackTestJob, count: int = SCENARIOS) -> IntArray:
    """The same without a forecast."""
    year = year_of(job.station.name).weather
    weather = weather_scenarios(None, None, year, SITE, job.issue, SPAN_H, count, job.seed, excluded_days=EXCLUDED_DAYS)
    return filled(job, weather)


def filled(
    job: BackTestJob, weather: HourlyWeather, *, refusal: bool = False, plain_production: bool = False
) -> IntArray:
    """Fill days of a job in scenarios of the weather, with production as :func:`band_sample` has it."""
    count = weather.scenarios or 1
    if plain_production:
        hours = production_draws_h(job.estimate_h, count, job.seed, cv=REFERENCE_CV, extra_day_chance=0.0)
    else:
        found = production_learned()
        hours = production_draws_h(
            job.estimate_h * found.factor * mean_over_median(found.next_cv), count, job.seed, cv=found.next_cv
        )
    habit = RefusalHabit(np.random.default_rng([job.seed, 5]).random((count, LATER))) if refusal else None
    return fill_days(weather, FIRM, job.room, hours, refusal=habit)


@cache
def production_learned() -> Learned:
    """What sixty finished jobs of the odd clusters say about production times, as the service learns it."""
    finished = [job for job in population(False, 1) if job.estimate_h >= FINISHED_LEAST_H]
    chosen = np.linspace(0, len(finished) - 1, min(FINISHED, len(finished))).astype(int)
    return learned([finished[place].true_h / finished[place].estimate_h for place in chosen], HOURS_PRIOR)


def deterministic_day(job: BackTestJob) -> int:
    """The rules run once on the forecast: rain where its chance is one half, then usual and dry weather."""
    station = usual(job.station.name)
    here = station.hours_from(job.issue, SPAN_H)
    temp, wind = station.temp_c[here].copy(), np.exp(station.log_wind[here]) - 0.5
    dew, rain = station.dew_c[here].copy(), np.zeros(SPAN_H)
    near, known = job.forecast, slice(0, 24 * FORECAST_DAYS)
    temp[known], dew[known], wind[known] = near.temp_air_c, near.dew_point_c, near.wind_m_s
    rain[known] = near.rain_probability >= WET_AT
    weather = HourlyWeather.of(job.issue, temp_air_c=temp, dew_point_c=dew, wind_m_s=wind, rain_mm=rain)
    return int(fill_days(weather, FIRM, job.room, job.estimate_h)[0])


def fixed_day(job: BackTestJob) -> int:
    """Fixed durations on the true crew calendar: every day mild, dry and still."""
    mild = np.full(SPAN_H, 18.0)
    weather = HourlyWeather.of(
        job.issue, temp_air_c=mild, dew_point_c=mild - 8.0, wind_m_s=np.full(SPAN_H, 2.0), rain_mm=np.zeros(SPAN_H)
    )
    return int(fill_days(weather, FIRM, job.room, job.estimate_h)[0])


def perfect_sample(job: BackTestJob, days: int, count: int = SCENARIOS) -> IntArray:
    """The band with a perfect forecast of *days* days: the ceiling."""
    year = year_of(job.station.name).weather
    weather = weather_scenarios(None, None, year, SITE, job.issue, SPAN_H, count, job.seed, excluded_days=EXCLUDED_DAYS)
    truth = job.truth.slice(job.issue, job.issue + timedelta(days=days))
    fields = {}
    for name in ("temp_air_c", "dew_point_c", "wind_m_s", "rain_mm"):
        fields[name] = getattr(weather, name).copy()
        fields[name][:, : 24 * days] = getattr(truth, name)
    return filled(job, weather.with_fields(**fields))
