"""The fill band against what comes true: ``python -m tests.benchmarks.fill_band [--json] [--quick] [--plots]``.

Real weather, made forecasts (no archive of real ones was available), invented jobs. Learned numbers come from odd
clusters of weather, everything reported from even ones. Five deliberate breaks must be flagged by the same test that
the band passes. Prints one JSON object as its last line.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from typing import Any, Final

import numpy as np

from jobs.timeline.crew_room import IntArray
from jobs.timeline.forecast_errors import ForecastErrors
from tests.benchmarks.fill_band_jobs import BackTestJob, errors_of, population
from tests.benchmarks.fill_band_methods import (
    band_sample,
    climate_sample,
    deterministic_day,
    fixed_day,
    perfect_sample,
    production_learned,
    rough_sample,
)
from tests.benchmarks.fill_band_plots import write_plots
from tests.benchmarks.fill_band_scoring import LEAD, Outcomes, Scored, interval, ratio_interval
from tests.benchmarks.fill_band_shell import shell_back_test
from tests.benchmarks.forecast_system import verification_deviations

DRAWS: Final = 4
QUICK_STEP_DAYS: Final = 12
BREAKS_PREP_MOST_H: Final = 24.0
POPULATION_BOUNDS: Final = {"climatology": (1.05, 1.25), "deterministic": (1.7, 2.0)}


def learned(job: BackTestJob) -> ForecastErrors:
    return errors_of(job.station)


def pop_under_confident(job: BackTestJob) -> ForecastErrors:
    """The slope of the rain probability on the logit 0.6 of what it should be."""
    errors = learned(job)
    return replace(errors, pop=tuple(tuple(0.6 * way for way in row) for row in errors.pop))


def pop_too_wet(job: BackTestJob) -> ForecastErrors:
    """0.7 more on the logit."""
    errors = learned(job)
    return replace(errors, pop=tuple((row[0] + 0.7, *row[1:]) for row in errors.pop))


Sampler = Callable[[BackTestJob], IntArray]

BREAKS: Final[dict[str, Sampler]] = {
    "temperature and wind errors too large and rough": lambda job: rough_sample(job, learned(job), 2.0, 1.5),
    "rain probability under-confident": lambda job: band_sample(job, pop_under_confident(job)),
    "rain probability too wet": lambda job: band_sample(job, pop_too_wet(job)),
    "raw ensemble with half the spread": lambda job: band_sample(job, learned(job), members=True),
}
REFUSAL: Final = "refusal rule unknown to the band"


def outcomes_of(jobs: list[BackTestJob], refused: bool = False) -> Outcomes:
    clusters = sorted({job.cluster for job in jobs})
    return Outcomes(
        day=np.array([job.outcome(refused) for job in jobs], dtype=np.float64),
        pit_u=np.array([job.pit_u for job in jobs]),
        cluster=np.array([clusters.index(job.cluster) for job in jobs]),
    )


def sampled(jobs: list[BackTestJob], sampler: Sampler) -> np.ndarray[Any, np.dtype[np.float64]]:
    return np.array([sampler(job) for job in jobs], dtype=np.float64)


def back_test(jobs: list[BackTestJob]) -> dict[str, Any]:
    """Everything the command reports of *jobs*."""
    outcomes = outcomes_of(jobs)
    band = Scored(sampled(jobs, lambda job: band_sample(job, learned(job))), outcomes)
    climate = Scored(sampled(jobs, climate_sample), outcomes)
    dates = {
        "fixed": Scored(np.array([[fixed_day(job)] for job in jobs], dtype=np.float64), outcomes),
        "deterministic": Scored(np.array([[deterministic_day(job)] for job in jobs], dtype=np.float64), outcomes),
    }
    report = summary(band, climate, dates)
    report |= breaks(jobs)
    report["refusal_modelled"] = refusal_modelled(jobs)
    report["plain_production"] = plain_production(jobs, outcomes)
    found = production_learned()
    report["production_learned"] = {"factor": found.factor, "cv": found.next_cv, "finished": found.n}
    report["perfect_week_crps"] = float(Scored(sampled(jobs, lambda job: perfect_sample(job, 7)), outcomes).crps.mean())
    return report


def plain_production(jobs: list[BackTestJob], outcomes: Outcomes) -> dict[str, Any]:
    """The band that has learned nothing of production: spread 20 %, no extra day."""
    plain = Scored(sampled(jobs, lambda job: band_sample(job, learned(job), plain_production=True)), outcomes)
    return {
        "pit": plain.pit_shares(),
        "coverage_80": float(plain.covered(0.8).mean()),
        "stated_80": plain.stated(0.8),
        "coverage_90": float(plain.covered(0.9).mean()),
        "stated_90": plain.stated(0.9),
        "p90_p50_days": float((plain.quantile(0.9) - plain.quantile(0.5)).mean()),
        "crps": float(plain.crps.mean()),
    }


def summary(band: Scored, climate: Scored, dates: dict[str, Scored]) -> dict[str, Any]:
    outcomes = band.outcomes
    naive = {name: float(each.crps.mean()) for name, each in dates.items()} | {
        "climatology": float(climate.crps.mean())
    }
    lead = band.quantile(0.5)
    near = (lead >= LEAD[0]) & (lead <= LEAD[1])
    usual_lead = climate.quantile(0.5)
    usual_near = (usual_lead >= LEAD[0]) & (usual_lead <= LEAD[1])
    pit = band.pit_shares()
    below = {share: (band.pit <= float(share)).astype(np.float64) for share in pit}
    crps = float(band.crps.mean())
    return {
        "jobs": len(outcomes.day),
        "clusters": int(np.unique(outcomes.cluster).size),
        "pit_01": pit["0.1"],
        "pit_05": pit["0.5"],
        "pit_08": pit["0.8"],
        "pit_09": pit["0.9"],
        "coverage_80": float(band.covered(0.8).mean()),
        "stated_80": band.stated(0.8),
        "coverage_90": float(band.covered(0.9).mean()),
        "stated_90": band.stated(0.9),
        "p90_p50_days": float((band.quantile(0.9) - band.quantile(0.5)).mean()),
        "p90_p10_days": float((band.quantile(0.9) - band.quantile(0.1)).mean()),
        "crps": crps,
        "crps_naive": naive,
        "crps_ratio": {name: crps / value for name, value in naive.items()},
        "lead_4_7": {
            "jobs": int(near.sum()),
            "crps": float(band.crps[near].mean()),
            "climatology": float(climate.crps[near].mean()),
            "deterministic": float(dates["deterministic"].crps[near].mean()),
        },
        "lead_4_7_by_climatology": {
            "jobs": int(usual_near.sum()),
            "crps": float(band.crps[usual_near].mean()),
            "climatology": float(climate.crps[usual_near].mean()),
        },
        "pinball": {
            name: {"p50": each.pinball(0.5), "p90": each.pinball(0.9)}
            for name, each in {"band": band, "climatology": climate, **dates}.items()
        },
        "pit_bins": band.pit_bins(),
        "reliability": reliability(band),
        "intervals": {
            "pit_05": interval(below["0.5"], outcomes.cluster),
            "pit_09": interval(below["0.9"], outcomes.cluster),
            "coverage_80": interval(band.covered(0.8), outcomes.cluster),
            "coverage_90": interval(band.covered(0.9), outcomes.cluster),
            "crps": interval(band.crps, outcomes.cluster),
            "p90_p50_days": interval(band.quantile(0.9) - band.quantile(0.5), outcomes.cluster),
            "crps_over_deterministic": ratio_interval(band.crps, dates["deterministic"].crps, outcomes.cluster),
            "crps_over_climatology_lead_4_7": ratio_interval(
                band.crps[near], climate.crps[near], outcomes.cluster[near]
            ),
            "crps_less_climatology": interval(band.crps - climate.crps, outcomes.cluster),
            "crps_less_deterministic": interval(band.crps - dates["deterministic"].crps, outcomes.cluster),
            "crps_less_climatology_lead_4_7": interval((band.crps - climate.crps)[near], outcomes.cluster[near]),
        },
        "band_flagged": band.flagged(),
        "population": {name: bounds[0] <= naive[name] <= bounds[1] for name, bounds in POPULATION_BOUNDS.items()},
    }


def reliability(band: Scored) -> list[dict[str, float]]:
    """Chance that the pool is full by a day, as stated and as it came, for days 3 to 20 of every job."""
    days = np.arange(3, 21)
    stated = (band.samples[:, None, :] <= days[:, None]).mean(axis=2)
    came = band.outcomes.day[:, None] <= days
    edges = np.linspace(0.0, 1.0, 11)
    rows = []
    for low, high in pairwise(edges):
        inside = (stated > low) & (stated <= high) if low else (stated >= 0.0) & (stated <= high)
        if inside.any():
            rows.append(
                {
                    "stated": float(stated[inside].mean()),
                    "came": float(came[inside].mean()),
                    "number": int(inside.sum()),
                }
            )
    return rows


def breaks(jobs: list[BackTestJob]) -> dict[str, Any]:
    """What the deliberate breaks do to the test, on jobs of little prep, where the forecast matters most."""
    some = [job for job in jobs if job.estimate_h <= BREAKS_PREP_MOST_H]
    outcomes = outcomes_of(some)
    band = Scored(sampled(some, lambda job: band_sample(job, learned(job))), outcomes)
    scored = {"as it should be": band}
    scored |= {name: Scored(sampled(some, sampler), outcomes) for name, sampler in BREAKS.items()}
    scored[REFUSAL] = Scored(band.samples, outcomes_of(some, refused=True))
    rows = {
        name: {"pit": each.pit_shares(), "crps": float(each.crps.mean()), "flagged": each.flagged()}
        for name, each in scored.items()
    }
    whole = rows.pop("as it should be")
    return {
        "breaks_flagged": sum(bool(row["flagged"]) for row in rows.values()),
        "breaks": rows,
        "unbroken": whole | {"jobs": len(some)},
    }


def refusal_modelled(jobs: list[BackTestJob]) -> dict[str, Any]:
    """The same truth when the band knows how often its office refuses."""
    some = [job for job in jobs if job.estimate_h <= BREAKS_PREP_MOST_H]
    known = Scored(
        sampled(some, lambda job: band_sample(job, learned(job), refusal=True)), outcomes_of(some, refused=True)
    )
    return {"pit": known.pit_shares(), "crps": float(known.crps.mean())}


def rounded(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: rounded(each) for name, each in value.items()}
    if isinstance(value, list):
        return [rounded(each) for each in value]
    return round(value, 4) if isinstance(value, float) else value


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true", help="print the report as one JSON object on the last line")
    parser.add_argument("--quick", action="store_true", help="a few jobs only: shows that it runs, proves nothing")
    parser.add_argument("--plots", action="store_true", help="write the SVG pictures to tests/benchmarks/plots")
    parser.add_argument("--draws", type=int, default=DRAWS, help="forecast draws per start")
    chosen = parser.parse_args(arguments)
    jobs = population(True, 1, QUICK_STEP_DAYS) if chosen.quick else population(True, chosen.draws)
    report = back_test(jobs)
    report["verification_worst"] = verification_deviations(draws=1 if chosen.quick else 4)
    report["column_model"] = shell_back_test(*((6, 20) if chosen.quick else ()))
    report["quick"] = chosen.quick
    if chosen.plots:
        write_plots(report)
    print(json.dumps(rounded(report), indent=None if chosen.json else 1))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
