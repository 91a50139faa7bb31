"""Proper scores of a sample of whole days against the day that came true, and the size of a fair test."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from jobs.physics.validity import FloatArray, in_range, plain


def crps_days(sample: ArrayLike, outcome: ArrayLike) -> float | FloatArray:
    """Continuous ranked probability score of a sample [days]; a single date scores its absolute error.

    Parameters
    ----------
    sample : days, shape [..., member]; a scalar is one date
    outcome : the day that came true, shape [...]

    Notes
    -----
    ``mean|y_i - t| - sum_ij |y_i - y_j| / (2 n^2)`` [GNEITING07].
    """
    days = np.sort(np.atleast_1d(np.asarray(sample, dtype=np.float64)), axis=-1)
    truth = np.asarray(outcome, dtype=np.float64)
    count = days.shape[-1]
    if not count:
        raise ValueError("sample has no member; needed is one day or more.")
    error = np.abs(days - truth[..., None]).mean(axis=-1)
    weights = 2.0 * np.arange(1, count + 1) - count - 1.0
    return plain(np.asarray(error - (days * weights).sum(axis=-1) / count**2))


def pinball_days(quantile: ArrayLike, outcome: ArrayLike, level: float) -> float | FloatArray:
    """Quantile score [days]: ``(t-q) a`` when the day is late, ``(q-t)(1-a)`` when it is early.

    Parameters
    ----------
    quantile, outcome : days, one shape
    level : a, 0 < a < 1
    """
    in_range("level of a quantile", level, 0.0, 1.0, "")
    late = np.asarray(outcome, dtype=np.float64) - np.asarray(quantile, dtype=np.float64)
    return plain(np.asarray(np.maximum(level * late, (level - 1.0) * late)))


def randomised_pit(sample: ArrayLike, outcome: ArrayLike, u: ArrayLike) -> float | FloatArray:
    """Randomised probability integral transform: uniform on 0 to 1 if, and only if, the band is calibrated.

    Parameters
    ----------
    sample : days, shape [..., member]
    outcome : the day that came true, shape [...]
    u : uniform draws in 0 to 1, shape [...]

    Notes
    -----
    ``F(y-) + u (F(y) - F(y-))``; the draw spreads the probability that sits on whole days [CZADO09].
    """
    days = np.atleast_1d(np.asarray(sample, dtype=np.float64))
    truth = np.asarray(outcome, dtype=np.float64)[..., None]
    draw = in_range("uniform draw", u, 0.0, 1.0, "")
    before, until = (days < truth).mean(axis=-1), (days <= truth).mean(axis=-1)
    return plain(np.asarray(before + draw * (until - before)))


def quantile_day(sample: ArrayLike, level: float) -> float | FloatArray:
    """First day with at least the share *level* of the sample at or before it.

    Parameters
    ----------
    sample : days, shape [..., member]
    level : 0 < level <= 1
    """
    in_range("level of a quantile", level, 0.0, 1.0, "", low_open=True)
    days = np.sort(np.atleast_1d(np.asarray(sample, dtype=np.float64)), axis=-1)
    count = days.shape[-1]
    place = int(np.ceil(level * count - 1e-9)) - 1
    return plain(np.asarray(days[..., max(place, 0)]))


def stated_coverage(sample: ArrayLike, level: float) -> float | FloatArray:
    """Share of the sample at or before its own quantile day: what a calibrated band should cover.

    Whole days make it larger than *level*; compare observed coverage with this, never with *level*.
    """
    days = np.atleast_1d(np.asarray(sample, dtype=np.float64))
    limit = np.asarray(quantile_day(days, level))
    return plain(np.asarray((days <= limit[..., None]).mean(axis=-1)))


def jobs_for_half_width(half_width: float, share: float = 0.9) -> float:
    """Independent jobs for a 95 % interval of +- *half_width* around a coverage of *share* (binomial)."""
    in_range("half width", half_width, 0.0, 0.5, "", low_open=True)
    return float(share * (1.0 - share) * (ndtri(0.975) / half_width) ** 2)


def jobs_to_reject(share: float, true_share: float, power: float) -> float:
    """Independent jobs with which a coverage of *share* is rejected at 5 % when it truly is *true_share*."""
    in_range("true share", true_share, 0.0, 1.0, "")
    if share == true_share:
        raise ValueError("share and true share are equal; no number of jobs tells them apart.")
    spread = ndtri(0.975) * np.sqrt(share * (1 - share)) + ndtri(power) * np.sqrt(true_share * (1 - true_share))
    return float((spread / (share - true_share)) ** 2)
