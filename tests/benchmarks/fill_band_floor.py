"""What the made forecasts hold: ``python -m tests.benchmarks.fill_band_floor [--json] [--quick] [--years 12]``.

Three questions about the jobs of the back-test, none of them asked by the product:

- *known*: what the band would reach if a part of the first seven days were known for certain;
- *faults*: what it would reach with forecasts whose every fault is smaller, learned anew from such forecasts;
- *direct*: what a learner that sees many generated jobs with their outcomes makes of the forecasts, alone and beside
  the band. Its jobs come from the odd clusters (weather in another order), the figures are of the even ones.

Prints one JSON object as its last line.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from functools import cache, partial
from typing import Any, Final

import numpy as np

from fixtures_demo.forecast_generator import ByLead, Faults
from jobs.timeline.crew_room import IntArray
from jobs.timeline.weather import HourlyWeather
from tests.benchmarks.fill_band import DRAWS, QUICK_STEP_DAYS, outcomes_of, rounded, sampled
from tests.benchmarks.fill_band_direct import Known, chance_by, crps_of, learn
from tests.benchmarks.fill_band_jobs import FORECAST_DAYS, BackTestJob, Station, errors_of, population
from tests.benchmarks.fill_band_methods import (
    band_sample,
    band_weather,
    climate_sample,
    deterministic_day,
    filled,
    perfect_sample,
)
from tests.benchmarks.fill_band_recombined import recombined_jobs
from tests.benchmarks.fill_band_scoring import LEAD, Outcomes, Scored, interval

AIR: Final = ("temp_air_c", "dew_point_c")
PARTS: Final[dict[str, tuple[str, ...]]] = {"rain": ("rain_mm",), "air": AIR, "wind": ("wind_m_s",)}
SHARES: Final = (0.75, 0.5)  # of every fault that is left
HELD_OUT: Final = 0.25  # of the recombined years choose the learner's ridge
YEARS: Final = 12


def with_known(job: BackTestJob, fields: tuple[str, ...]) -> IntArray:
    """The band when some fields of the first seven days are the truth."""
    weather = band_weather(job, errors_of(job.station))
    truth = job.truth.slice(job.issue, job.issue + timedelta(days=FORECAST_DAYS))
    return filled(job, _put(weather, truth, fields))


def _put(weather: HourlyWeather, truth: HourlyWeather, fields: tuple[str, ...]) -> HourlyWeather:
    hours = 24 * FORECAST_DAYS
    found = {}
    for name in fields:
        found[name] = getattr(weather, name).copy()
        found[name][:, :hours] = getattr(truth, name)
    return weather.with_fields(**found)


@cache
def with_faults(station: Station, share: float) -> Station:
    """The station whose forecasts have *share* of every fault."""
    own = station.faults
    return replace(
        station,
        faults=Faults(
            shift_h=share * own.shift_h,
            temp_sd_c=_scaled(own.temp_sd_c, share),
            swing_sd=share * own.swing_sd,
            keep=_scaled(own.keep, share, towards=1.0),
            wind_sd=_scaled(own.wind_sd, share),
            cloud_sd=_scaled(own.cloud_sd, share),
            bust_share=share * own.bust_share,
            bust_factor=own.bust_factor,
            rain_moves=own.rain_moves,
            swapped=_scaled(own.swapped, share),
            blur_h=share * own.blur_h,
            pop_slope=own.pop_slope,
            pop_shift=own.pop_shift,
            pop_noise=share * own.pop_noise,
        ),
    )


def _scaled(values: ByLead, share: float, towards: float = 0.0) -> ByLead:
    one, three, five, seven = (towards + share * (value - towards) for value in values)
    return one, three, five, seven


def known_of(jobs: Sequence[BackTestJob]) -> list[Known]:
    """The jobs with the samples of band and climate, and their outcomes."""
    return [Known(job, band_sample(job, errors_of(job.station)), climate_sample(job), job.outcome()) for job in jobs]


def rows(samples: dict[str, Any], outcomes: Outcomes, climate: Scored, dated: Scored) -> dict[str, dict[str, float]]:
    """CRPS, its ratios and the width of each set of samples [job, scenario]."""
    found = {}
    for name, sample in samples.items():
        scored = Scored(np.asarray(sample, dtype=np.float64), outcomes)
        crps, lead = scored.crps, climate.quantile(0.5)
        near = (lead >= LEAD[0]) & (lead <= LEAD[1])
        found[name] = {
            "crps": float(crps.mean()),
            "over_deterministic": float(crps.mean() / dated.crps.mean()),
            "over_climate_near": float(crps[near].mean() / climate.crps[near].mean()),
            "p90_p50_days": float((scored.quantile(0.9) - scored.quantile(0.5)).mean()),
        }
    return found


def direct(years: int, reported: list[Known], outcomes: Outcomes, step: int) -> dict[str, Any]:
    """CRPS of learners from a quarter, half and all of the recombined years, on the reported jobs."""
    every = [known_of(list(recombined_jobs(number, step))) for number in range(years)]
    kept = max(1, round(HELD_OUT * years))
    held_out = [known for year in every[:kept] for known in year]
    band = np.array([crps_of(chance_by(known.band), known.outcome) for known in reported])
    found: dict[str, Any] = {"band": float(band.mean()), "learned": []}
    left = years - kept
    for number in sorted({max(1, left // 4), max(1, left // 2), left}):
        some = [known for year in every[kept : kept + number] for known in year]
        row: dict[str, Any] = {"jobs": len(some)}
        for name, with_band in (("alone", False), ("beside_band", True)):
            learner = learn(some, held_out, with_band)
            crps = np.array([crps_of(learner.chance_by(known), known.outcome) for known in reported])
            row[name] = float(crps.mean())
            row[f"{name}_less_band"] = interval(crps - band, outcomes.cluster)
        found["learned"].append(row)
    return found


def floor(jobs: list[BackTestJob], years: int, step: int = 4) -> dict[str, Any]:
    """Everything the command reports of *jobs*."""
    outcomes = outcomes_of(jobs)
    reported = known_of(jobs)
    climate = Scored(np.array([known.climate for known in reported], dtype=np.float64), outcomes)
    dated = Scored(np.array([[deterministic_day(job)] for job in jobs], dtype=np.float64), outcomes)
    samples: dict[str, Any] = {"nothing": [known.band for known in reported]}
    samples |= {name: sampled(jobs, partial(with_known, fields=fields)) for name, fields in PARTS.items()}
    samples["everything"] = sampled(jobs, lambda job: perfect_sample(job, FORECAST_DAYS))
    better = {}
    for share in SHARES:
        again = [replace(job, station=with_faults(job.station, share)) for job in jobs]
        better[f"{share:g}"] = sampled(again, lambda job: band_sample(job, errors_of(job.station)))
    return {
        "jobs": len(jobs),
        "known": rows(samples, outcomes, climate, dated),
        "faults": rows(better, outcomes, climate, dated),
        "direct": direct(years, reported, outcomes, step),
    }


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true", help="print the report as one JSON object on the last line")
    parser.add_argument("--quick", action="store_true", help="a few jobs only: shows that it runs, proves nothing")
    parser.add_argument("--years", type=int, default=YEARS, help="recombined years to learn from")
    parser.add_argument("--draws", type=int, default=DRAWS, help="forecast draws per start")
    chosen = parser.parse_args(arguments)
    if chosen.quick:
        report = floor(population(True, 1, QUICK_STEP_DAYS), 4, step=40)
    else:
        report = floor(population(True, chosen.draws), chosen.years)
    report["quick"] = chosen.quick
    print(json.dumps(rounded(report), indent=None if chosen.json else 1))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
