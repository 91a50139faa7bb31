"""Scores of a set of back-tested jobs, with intervals over clusters that share weather."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from jobs.timeline.scores import crps_days, pinball_days, quantile_day, randomised_pit, stated_coverage

Array = NDArray[np.float64]

RESAMPLES: Final = 2000
PIT_SHARES: Final = (0.1, 0.5, 0.8, 0.9)
LEAD: Final = (4, 7)


@dataclass(frozen=True, eq=False)
class Outcomes:
    """What came true: day [job], uniform draw of the PIT [job], cluster number [job]."""

    day: Array
    pit_u: Array
    cluster: NDArray[np.int_]


@dataclass(frozen=True, eq=False)
class Scored:
    """One method's samples [job, scenario] (or one date [job, 1]) against the outcomes."""

    samples: Array
    outcomes: Outcomes

    @property
    def crps(self) -> Array:
        return np.asarray(crps_days(self.samples, self.outcomes.day))

    @property
    def pit(self) -> Array:
        return np.asarray(randomised_pit(self.samples, self.outcomes.day, self.outcomes.pit_u))

    def quantile(self, level: float) -> Array:
        return np.asarray(quantile_day(self.samples, level))

    def covered(self, level: float) -> Array:
        """1 where the outcome is at or before the quantile day [job]."""
        return (self.outcomes.day <= self.quantile(level)).astype(np.float64)

    def stated(self, level: float) -> float:
        return float(np.mean(stated_coverage(self.samples, level)))

    def pinball(self, level: float) -> float:
        return float(np.mean(pinball_days(self.quantile(level), self.outcomes.day, level)))

    def pit_shares(self) -> dict[str, float]:
        return {f"{share:g}": float((self.pit <= share).mean()) for share in PIT_SHARES}

    def pit_bins(self) -> list[float]:
        counts, _ = np.histogram(self.pit, bins=10, range=(0.0, 1.0))
        return [float(count) / self.pit.size for count in counts]

    def flagged(self) -> dict[str, float]:
        """PIT shares that are off by more than two standard errors: share -> how many errors off."""
        found = {}
        for share in PIT_SHARES[1:]:
            below = (self.pit <= share).astype(np.float64)
            error = standard_error(below, self.outcomes.cluster)
            if error > 0.0 and abs(below.mean() - share) > 2.0 * error:
                found[f"{share:g}"] = float((below.mean() - share) / error)
        return found


def resampled(values: Array, cluster: NDArray[np.int_]) -> Array:
    """Means of *values* [job] over clusters drawn with replacement, shape [resample]."""
    total = np.bincount(cluster, weights=values)
    number = np.bincount(cluster).astype(np.float64)
    present = number > 0
    total, number = total[present], number[present]
    rng = np.random.default_rng(7)
    drawn = rng.integers(0, total.size, size=(RESAMPLES, total.size))
    return np.asarray(total[drawn].sum(axis=1) / number[drawn].sum(axis=1))


def ratio_interval(above: Array, below: Array, cluster: NDArray[np.int_]) -> list[float]:
    """95 % interval of the mean of *above* over that of *below* [job], both of the same clusters."""
    found = np.quantile(resampled(above, cluster) / resampled(below, cluster), [0.025, 0.975])
    return [round(float(each), 4) for each in found]


def standard_error(values: Array, cluster: NDArray[np.int_]) -> float:
    return float(resampled(values, cluster).std())


def interval(values: Array, cluster: NDArray[np.int_]) -> list[float]:
    """95 % interval of the mean."""
    return [round(float(each), 4) for each in np.quantile(resampled(values, cluster), [0.025, 0.975])]
