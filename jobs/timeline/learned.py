"""What a firm's own work says about its rates: the usual figure, drawn towards what its jobs took.

Every entry is a ratio: hours a stage took over the hours that the figure in force expects of it. On the log scale a
firm has a mean (its factor) and a spread from job to job. Before any entry the factor is 1 give or take the prior;
entries are Student-t about it, so that a slip of the pen (hours for minutes, a day forgotten) says next to nothing.
With normal entries and a known spread the answer is the textbook conjugate one [GELMAN13]:
``mean = w mean(y)``, ``w = n / (n + spread^2/prior^2)``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

import numpy as np

from jobs.physics.validity import FloatArray, in_range
from jobs.timeline.rates import RATE_CATALOGUE, Rates

DEGREES: Final = 4.0  # of freedom of an entry: heavy tails, the usual robust choice [LANGE89]
SPREAD_PRIOR_SD: Final = 0.35  # of the logarithm of the spread [CP]
SMALLEST, LARGEST = 0.01, 100.0  # ratios beyond are refused: they are no measurement of the stage
LATEST: Final = 60  # entries that count: the newest
GRID_LOG: Final = 2.0  # factors from 0.135 to 7.4
GRID_STEPS, SPREAD_STEPS = 801, 25
EIGHT_IN_TEN: Final = (0.1, 0.9)
COUNTS_LITTLE: Final = 0.25  # an entry with less weight than this is named as unusual
STEP: Final = 0.01  # a factor in use is rounded to it, so that dates do not move with every entry


@dataclass(frozen=True)
class Prior:
    """Belief before any entry, as standard deviations of logarithms.

    factor : of firms about the usual figure
    spread : of one job (or day) about the firm's own mean
    spread_sd : of the logarithm of that spread; 0 for one that is known
    """

    factor: float
    spread: float
    spread_sd: float = SPREAD_PRIOR_SD


HOURS_PRIOR: Final = Prior(0.30, 0.20)  # [CP] crews differ by a third; jobs of one crew by a fifth
SET_PRIOR: Final = Prior(0.20, 0.10)  # [CP] mixes and admixtures; the error of a day's set clock

# What is learned, and the rates that follow it: +1 grows with the factor (hours), -1 falls with it (output an hour).
FOLLOWS: Final[Mapping[str, Mapping[str, int]]] = {
    "drain_setup": {"drain_setup_h": 1},
    "drain_pull": {"drain_pull_h": 1},
    "prep": {
        "strip_m2_h": -1,
        "chip_loose_m2_h": -1,
        "tile_line_cut_m_h": -1,
        "taper_m2_h": -1,
        "paint_removal_m2_h": -1,
        "roughen_m2_h": -1,
        "wash_m2_h": -1,
        "prep_fixed_h": 1,
    },
    "bond": {"bond_m2_h": -1},
    "laying": {"laying_m2_h": -1},
    "fill_start": {"fill_start_h": 1},
    "set": {"reference_set_h": 1},
}


@dataclass(frozen=True)
class Learned:
    """What the entries say.

    factor : hours it takes here over the hours of the figure in force [1]; 1 without entries
    low, high : eight in ten lie between, of the factor
    sd_log : standard deviation of the logarithm of the factor
    spread_log : of one job (or day) about it, as standard deviation of logarithms
    n : entries
    own_weight : how much the firm's own entries count, 0 to 1; the rest is the usual figure
    weights : of each entry against an ordinary one, in the order given; near 0 for an absurd one
    """

    factor: float
    low: float
    high: float
    sd_log: float
    spread_log: float
    n: int
    own_weight: float
    weights: tuple[float, ...] = ()

    @property
    def next_sd_log(self) -> float:
        """Standard deviation of the logarithm of the next job's ratio about the factor."""
        return math.hypot(self.sd_log, self.spread_log)

    @property
    def next_cv(self) -> float:
        """The same as coefficient of variation of a lognormal."""
        return math.sqrt(math.expm1(self.next_sd_log**2))


def learned(ratios: Sequence[float], prior: Prior, *, degrees: float = DEGREES) -> Learned:
    """The firm's own factor from the ratios of its entries.

    Parameters
    ----------
    ratios : hours taken over hours expected [1], each 0.01 to 100; the newest 60 count
    prior : belief before them
    degrees : of freedom of an entry; infinite for normal entries

    Notes
    -----
    Posterior of (factor, spread) by quadrature on a grid of their logarithms. The own weight is the share of the
    prior variance of the log factor that the entries removed, which is ``n/(n + spread^2/prior^2)`` for normal
    entries of known spread.

    Raises
    ------
    ValueError
        For a ratio outside the range.
    """
    kept = tuple(float(x) for x in ratios)[-LATEST:]
    in_range("hours taken over hours expected", np.array(kept or (1.0,)), SMALLEST, LARGEST, "")
    return _learned(kept, prior, degrees)


@lru_cache(maxsize=512)
def _learned(ratios: tuple[float, ...], prior: Prior, degrees: float) -> Learned:
    y = np.log(np.array(ratios))
    centre = np.linspace(-GRID_LOG, GRID_LOG, GRID_STEPS)
    steps = np.linspace(-3.0, 3.0, SPREAD_STEPS)
    spread = prior.spread * np.exp(steps * prior.spread_sd)
    log_p = _log_likelihood(y, centre, spread, degrees)
    log_p += -0.5 * (centre[:, None] / prior.factor) ** 2 - 0.5 * steps**2
    p = np.exp(log_p - log_p.max())
    p /= p.sum()
    of_centre, of_spread = p.sum(axis=1), p.sum(axis=0)
    mean = float(centre @ of_centre)
    sd = math.sqrt(max(float((centre - mean) ** 2 @ of_centre), 0.0))
    own_spread = math.sqrt(float(spread**2 @ of_spread))
    if not ratios:
        mean, sd, own_spread = 0.0, prior.factor, prior.spread
    low, high = (float(np.exp(_quantile(centre, of_centre, level))) for level in EIGHT_IN_TEN)
    typical = float(np.exp(np.log(spread) @ of_spread))
    weights = tuple(_weight((one - mean) / typical, degrees) for one in y)
    weight = 1.0 - (sd / prior.factor) ** 2 if ratios else 0.0
    return Learned(math.exp(mean), low, high, sd, own_spread, len(ratios), min(max(weight, 0.0), 1.0), weights)


def _log_likelihood(y: FloatArray, centre: FloatArray, spread: FloatArray, degrees: float) -> FloatArray:
    """Of all entries, [centre, spread], up to a constant."""
    z2 = ((y[:, None, None] - centre[None, :, None]) / spread[None, None, :]) ** 2
    each = -0.5 * z2 if math.isinf(degrees) else -0.5 * (degrees + 1.0) * np.log1p(z2 / degrees)
    total: FloatArray = each.sum(axis=0) - len(y) * np.log(spread)
    return total


def _weight(z: float, degrees: float) -> float:
    """Of an entry against an ordinary one; at most 1."""
    return 1.0 if math.isinf(degrees) else float(min(1.0, (degrees + 1.0) / (degrees + z * z)))


def _quantile(grid: FloatArray, share: FloatArray, level: float) -> float:
    below = np.cumsum(share) - 0.5 * share
    return float(np.interp(level, below, grid))


def prior_of(what: str, rates: Rates) -> Prior:
    """Belief before any entry of *what*; the firm's spread of production times counts where hours are learned."""
    return SET_PRIOR if what == "set" else replace(HOURS_PRIOR, spread=math.sqrt(math.log1p(rates.production_cv**2)))


def rates_learned(rates: Rates, found: Mapping[str, Learned]) -> Rates:
    """The figures in force with what was learned put in, each within its allowed range.

    Factors are rounded to 1 %. The spread of production times follows that of prep.
    """
    changed: dict[str, float] = {}
    for what, one in found.items():
        factor = round(one.factor / STEP) * STEP
        if one.n == 0 or factor == 1.0:
            continue
        for name, power in FOLLOWS[what].items():
            entry = RATE_CATALOGUE[name]
            changed[name] = min(max(round(getattr(rates, name) * factor**power, 6), entry.low), entry.high)
    prep = found.get("prep")
    if prep is not None and prep.n:
        entry = RATE_CATALOGUE["production_cv"]
        changed["production_cv"] = min(max(round(prep.next_cv / STEP) * STEP, entry.low), entry.high)
    return replace(rates, **changed) if changed else rates
