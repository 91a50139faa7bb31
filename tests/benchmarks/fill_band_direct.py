"""A learner that goes from the forecast straight to the fill day, as a measure of what the forecasts hold.

The chance that the pool is full on a day, given that it was not before, as a small neural network over what is known on
the first day: forecast around the day, room of the crew, the estimate, and (optionally) what the band and the climate
say. It knows no limit, no stage and no error model; it only sees many jobs with their outcomes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import expit, logit

from jobs.timeline.crew_room import IntArray
from tests.benchmarks.fill_band_jobs import FORECAST_DAYS, LATER, BackTestJob
from tests.benchmarks.fill_band_methods import deterministic_day, fixed_day

Array = NDArray[np.float64]

FIRST_DAY: Final = 2  # no job is full before
HIDDEN: Final = 12
HOLDS: Final = (3e-4, 1e-3, 3e-3, 1e-2)  # ridge on the weights, against a mean over job days
ROUNDS: Final = 250
FLOOR: Final = 1e-4
WORKING: Final = slice(9, 24)  # hours after the midnight


@dataclass(frozen=True, eq=False)
class Known:
    """A job as it is known on its first day, with its outcome: [day] of the band's and the climate's samples."""

    job: BackTestJob
    band: IntArray
    climate: IntArray
    outcome: int


def crps_of(chance_by: Array, outcome: int) -> float:
    """CRPS [days] of the chances to be full by day 0, 1, ..., LATER."""
    return float(np.sum((chance_by - (np.arange(LATER + 1) >= outcome)) ** 2))


def chance_by(sample: IntArray) -> Array:
    """Share of a sample at or before day 0, 1, ..., LATER."""
    return np.asarray(np.cumsum(np.bincount(sample, minlength=LATER + 1)) / sample.size)


@cache
def features(known: Known, with_band: bool) -> tuple[Array, Array]:
    """What the learner sees of each day FIRST_DAY ... LATER [day, feature], and the band's own logit [day]."""
    days = np.arange(FIRST_DAY, LATER + 1)
    job = known.job
    free = np.concatenate([job.room.plaster.astype(float), np.zeros(2)])
    region = [float(job.station.region == name) for name in ("Greensboro", "Miami")]
    columns = [days, np.log(days), days - deterministic_day(job), days - fixed_day(job), free[days - 1], free[days - 2]]
    columns += [np.full(days.size, each) for each in (job.estimate_h, *region)]
    said = _said(job)
    for back in (2, 1, 0):  # the days before it, and the day itself
        day = days - back
        inside = (day >= 0) & (day < FORECAST_DAYS)
        columns += [np.where(inside, said[np.clip(day, 0, FORECAST_DAYS - 1), k], np.nan) for k in range(said.shape[1])]
    columns += [np.full(days.size, each) for each in np.concatenate([said[:, :2].max(axis=0), said.mean(axis=0)])]
    offset = np.zeros(days.size)
    if with_band:
        shares = [(_hazard(sample), chance_by(sample)) for sample in (known.band, known.climate)]
        offset = shares[0][0]
        for hazard, by in shares:
            columns += [hazard, logit(np.clip(by[days - 1], FLOOR, 1.0 - FLOOR))]
    return np.stack(columns, axis=-1).astype(np.float64), offset


def _said(job: BackTestJob) -> Array:
    """The forecast by day [day, number]: rain, cold, wind, damp."""
    by_day = {
        name: getattr(job.forecast, name).reshape(FORECAST_DAYS, 24) for name in vars(job.forecast) if name != "start"
    }
    temp, pop, rain = by_day["temp_air_c"], by_day["rain_probability"], by_day["rain_mm"]
    damp = temp - by_day["dew_point_c"]
    return np.stack(
        [
            logit(np.clip(pop[:, 6:18].max(axis=1), 0.01, 0.99)),
            logit(np.clip(pop.mean(axis=1), 0.01, 0.99)),
            (rain[:, WORKING] > 0.0).mean(axis=1),
            np.log1p(rain.sum(axis=1)),
            temp.min(axis=1),
            temp[:, WORKING].max(axis=1),
            by_day["wind_m_s"][:, WORKING].max(axis=1),
            damp[:, WORKING].mean(axis=1),
            by_day["pressure_kpa"].mean(axis=1),
        ],
        axis=-1,
    )


def _hazard(sample: IntArray) -> Array:
    """Logit of the share on each day of what is left before it, FIRST_DAY ... LATER."""
    number = np.bincount(sample, minlength=LATER + 1) + 0.02
    left = np.cumsum(number[::-1])[::-1]
    return np.asarray(logit(np.clip(number / left, FLOOR, 1.0 - FLOOR))[FIRST_DAY:])


@dataclass(frozen=True, eq=False)
class Learner:
    """Weights, and the middle and spread of each feature."""

    weights: Array
    middle: Array
    spread: Array
    with_band: bool

    def chance_by(self, known: Known) -> Array:
        """Chance to be full by day 0, 1, ..., LATER; later is certain."""
        x, offset = features(known, self.with_band)
        hazard = expit(_score(self.weights, _even(x, self.middle, self.spread), offset)[0])
        by = np.concatenate([np.zeros(FIRST_DAY), 1.0 - np.cumprod(1.0 - hazard)])
        by[-1] = 1.0
        return by


def learn(jobs: Sequence[Known], held_out: Sequence[Known], with_band: bool) -> Learner:
    """The learner whose ridge does best on jobs held out (other recombined years)."""
    rows = [_rows(known, with_band) for known in jobs]
    x, offset, full = (np.concatenate([row[part] for row in rows]) for part in range(3))
    middle, spread = np.nanmean(x, axis=0), np.nanstd(x, axis=0) + 1e-9
    even = _even(x, middle, spread)
    found = []
    for hold in HOLDS:
        learner = Learner(_fitted(even, offset, full, hold), middle, spread, with_band)
        found.append((mean_crps(learner, held_out), learner))
    return min(found, key=lambda pair: pair[0])[1]


def mean_crps(learner: Learner, jobs: Sequence[Known]) -> float:
    return float(np.mean([crps_of(learner.chance_by(known), known.outcome) for known in jobs]))


def _rows(known: Known, with_band: bool) -> tuple[Array, Array, Array]:
    """Days up to the outcome: features, offset, whether it was full then."""
    x, offset = features(known, with_band)
    number = max(known.outcome - FIRST_DAY + 1, 1)
    full = np.zeros(number)
    full[-1] = float(known.outcome < LATER)
    return x[:number], offset[:number], full


def _even(x: Array, middle: Array, spread: Array) -> Array:
    return np.asarray(np.clip(np.nan_to_num((x - middle) / spread), -4.0, 4.0))


def _score(weights: Array, x: Array, offset: Array) -> tuple[Array, Array]:
    """Logit [row] and hidden values [row, unit]; weights: constant, straight, hidden constants, hidden, outer."""
    number = x.shape[1]
    straight, inner = weights[1 : 1 + number], weights[1 + number : -HIDDEN].reshape(number + 1, HIDDEN)
    hidden = np.tanh(x @ inner[1:] + inner[0])
    return offset + weights[0] + x @ straight + hidden @ weights[-HIDDEN:], hidden


def _fitted(x: Array, offset: Array, full: Array, hold: float) -> Array:
    number = x.shape[1]
    rng = np.random.default_rng(5)
    start = np.concatenate([np.zeros(1 + number), 0.1 * rng.standard_normal((number + 1) * HIDDEN), np.zeros(HIDDEN)])

    def loss(weights: Array) -> tuple[float, Array]:
        score, hidden = _score(weights, x, offset)
        off = (expit(score) - full) / full.size
        back = off[:, None] * weights[-HIDDEN:] * (1.0 - hidden**2)
        inner = np.vstack([back.sum(axis=0), x.T @ back])
        slope = np.concatenate([[off.sum()], x.T @ off, inner.ravel(), hidden.T @ off])
        value = float(np.mean(np.logaddexp(0.0, score) - full * score)) + hold * float(weights @ weights)
        return value, slope + 2.0 * hold * weights

    return np.asarray(minimize(loss, start, jac=True, method="L-BFGS-B", options={"maxiter": ROUNDS}).x)
