"""Rain of a forecast as scenarios: six-hour blocks, wet or dry by the stated probability, with real patterns.

Neighbouring blocks are correlated through a latent Gaussian process; a wet block takes the hourly pattern of a
wet block that the station really had in the same season ("donor").
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import ndtr, ndtri

from jobs.physics.validity import FloatArray, in_range, plain

BLOCK_H: Final = 6  # h, the period for which the public grid states a probability of precipitation
CORRELATION: Final = 0.55  # latent correlation of neighbouring 6 h blocks [BAND]
POP_LEAST: Final = 0.005  # a stated 0 or 1 is never certain: clipped to 0.5 % and 99.5 % [BAND]
QUADRATURE: Final = 24  # points
FAR: Final = 8.5  # of a standard normal, beyond which nothing is counted
LONGER_FROM: Final = 0.35
LONGER_SLOPE: Final = 1.4
SHORTER: Final = 0.35
WET_MM: Final = 0.1  # mm in the block from which it counts as wet


def any_wet(pop: ArrayLike, correlation: float = CORRELATION) -> float:
    """Probability that at least one of consecutive blocks is wet.

    Parameters
    ----------
    pop : probabilities of the single blocks, shape [block], 0 < p < 1
    correlation : of the latent Gaussian AR(1) between neighbours, -0.95 to 0.95

    Notes
    -----
    ``1 - Phi_n(-z_1, ..., -z_n; r^|i-j|)`` with ``z = Phi^-1(p)`` (Gaussian copula), integrated block by block.
    """
    chances = np.atleast_1d(in_range("rain probability", pop, 0.0, 1.0, ""))
    in_range("correlation of rain blocks", correlation, -0.95, 0.95, "")
    edge = ndtri(np.clip(chances, 1e-9, 1.0 - 1e-9))
    place, weight = np.polynomial.legendre.leggauss(2 * QUADRATURE)
    spread = np.sqrt(1.0 - correlation**2)
    # density of "dry so far" of the latent value, at the points of quadrature above each block's edge
    points = [edge_of + 0.5 * (FAR - edge_of) * (place + 1.0) for edge_of in edge]
    weights = [0.5 * (FAR - edge_of) * weight for edge_of in edge]
    dry = _density(points[0])
    for before, now, step in zip(points[:-1], points[1:], weights[:-1], strict=True):
        dry = (_density((now[:, None] - correlation * before) / spread) / spread) @ (step * dry)
    return float(1.0 - weights[-1] @ dry)


def _density(z: FloatArray) -> FloatArray:
    return np.asarray(np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi))


def both_wet(pop: FloatArray, pop_next: FloatArray, correlation: float) -> FloatArray:
    """Probability that two neighbouring blocks are both wet, ``Phi2(z_1, z_2; r)``, by Gauss-Legendre quadrature.

    Parameters
    ----------
    pop, pop_next : probabilities, one shape, clipped to 0.2 % and 99.8 %
    correlation : latent, -1 < r < 1
    """
    first, then = (np.clip(each, 0.002, 0.998)[..., None] for each in (pop, pop_next))
    place, weight = np.polynomial.legendre.leggauss(QUADRATURE)
    level = 0.5 * then * (place + 1.0)
    given = ndtr((ndtri(first) - correlation * ndtri(level)) / np.sqrt(1.0 - correlation**2))
    return np.asarray((0.5 * then * weight * given).sum(axis=-1))


def six_hour_probability(pop_12h: ArrayLike, correlation: float = CORRELATION) -> float | FloatArray:
    """Probability of rain in each half of a 12 h period whose two halves are equally likely to be wet.

    The usual ``1 - sqrt(1 - p)`` is too low because the halves are correlated; this solves
    ``1 - Phi2(-z, -z; r) = p``.

    Parameters
    ----------
    pop_12h : scalar or array, 0 to 1
    """
    whole = in_range("rain probability", pop_12h, 0.0, 1.0, "")
    grid = np.concatenate(([POP_LEAST / 4], np.linspace(0.01, 0.99, 50), [1 - POP_LEAST / 4]))
    table = np.array([_half_of(p, correlation) for p in grid])
    return plain(np.interp(whole, np.concatenate(([0.0], grid, [1.0])), np.concatenate(([0.0], table, [1.0]))))


def _half_of(pop_12h: float, correlation: float) -> float:
    def surplus(z: float) -> float:
        return any_wet([float(ndtr(z)), float(ndtr(z))], correlation) - pop_12h

    return float(ndtr(brentq(surplus, -6.0, 6.0, xtol=1e-9)))


def block_probability(hourly: FloatArray, block: NDArray[np.int_], period_h: int) -> FloatArray:
    """Probability that each 6 h block is wet, from hourly repeated or hourly stated probabilities.

    Parameters
    ----------
    hourly : rain probability of each hour, shape [hour]; NaN is a gap
    block : block number of each hour, ascending from 0, shape [hour]
    period_h : what the source's probability refers to [h]: 1, 6 or 12

    Notes
    -----
    6 h: the value itself. 12 h: :func:`six_hour_probability`. 1 h: ``1 - prod(1-p)^(1/2)``, never below the
    largest hour (common practice, untested). NaN where a block has no value at all.
    """
    if period_h not in (1, BLOCK_H, 2 * BLOCK_H):
        raise ValueError(f"period of the rain probability is {period_h} h; allowed are 1, 6 and 12 h.")
    count = int(block[-1]) + 1
    largest = np.full(count, -1.0)
    np.maximum.at(largest, block, np.nan_to_num(hourly, nan=-1.0))
    known = largest >= 0.0
    if period_h == 2 * BLOCK_H:
        largest[known] = np.asarray(six_hour_probability(largest[known]))
    elif period_h == 1:
        dry = np.zeros(count)
        np.add.at(dry, block, 0.5 * np.log1p(-np.clip(np.nan_to_num(hourly), 0.0, 0.999)))
        largest = np.maximum(largest, 1.0 - np.exp(dry))
    return np.where(known, largest, np.nan)


def wet_blocks(pop: FloatArray, correlation: float, count: int, rng: np.random.Generator) -> NDArray[np.bool_]:
    """Wet or dry for each scenario and block, shape [scenario, block]: wet where ``Z < Phi^-1(PoP)``.

    Z is a unit Gaussian AR(1) over the blocks. The first block is stratified over the scenarios.
    """
    noise = rng.standard_normal((count, pop.size))
    noise[:, 0] = ndtri((rng.permutation(count) + rng.random(count)) / count)
    latent = unit_ar1(noise, correlation)
    wet: NDArray[np.bool_] = latent < ndtri(np.clip(pop, POP_LEAST, 1.0 - POP_LEAST))
    return wet


def surer_is_longer(chance: FloatArray, donors: int, rng: np.random.Generator) -> NDArray[np.int_]:
    """Donor of each wet block among *donors* sorted from short rain to long: the surer the rain, the longer it lasts.

    Parameters
    ----------
    chance : probability of each block that came out wet, shape [block]
    donors : number of donors

    Notes
    -----
    The longer of two draws with a chance that grows from 0 at p = 0.35 to 0.9 at certainty, else now and then the
    shorter. Wet blocks of the bundled stations last 1.4-2.3 h below p = 0.5 and 2.6-3.8 h above 0.75 [BAND].
    """
    two = np.sort(rng.integers(0, donors, size=(chance.size, 2)), axis=1)
    longer = np.clip(LONGER_SLOPE * (chance - LONGER_FROM), 0.0, 1.0)
    draw = rng.random(chance.size)
    shorter = (draw >= longer) & (draw < longer + SHORTER * (1.0 - longer))
    single = two[np.arange(chance.size), rng.integers(0, 2, size=chance.size)]
    return np.asarray(np.select([draw < longer, shorter], [two[:, 1], two[:, 0]], single))


def unit_ar1(noise: FloatArray, phi: float) -> FloatArray:
    """First-order autoregression of unit variance along the last axis from unit Gaussian noise."""
    driven: FloatArray = np.sqrt(1.0 - phi * phi) * noise
    driven[..., 0] = noise[..., 0]
    for step in range(1, driven.shape[-1]):  # as fast as a filter of scipy, whose import takes half a second
        driven[..., step] += phi * driven[..., step - 1]
    return driven


def rain_blocks(
    pop: FloatArray, block_h: int, correlation: float, donors: FloatArray, rng: np.random.Generator, count: int = 200
) -> FloatArray:
    """Hourly rain of scenarios from the probabilities of blocks.

    Parameters
    ----------
    pop : probability that each block is wet, shape [block]
    block_h : length of a block [h]
    correlation : latent correlation of neighbouring blocks
    donors : hourly rain of wet blocks of the same station and season [mm], shape [donor, block_h]; or
        [block of the day, donor, block_h] is not accepted here: choose donors before
    rng : source of the draws
    count : number of scenarios

    Returns
    -------
    rain [mm], shape [scenario, block * block_h]

    Raises
    ------
    ValueError
        If a probability is outside 0 to 1 or the donors have another length.
    """
    in_range("rain probability", pop, 0.0, 1.0, "")
    if donors.ndim != 2 or donors.shape[1] != block_h or not len(donors):
        raise ValueError(f"donors have shape {donors.shape}; needed is [donor, {block_h}] with one donor or more.")
    wet = wet_blocks(pop, correlation, count, rng)
    chosen = donors[rng.integers(0, len(donors), size=wet.shape)]
    rain: FloatArray = (chosen * wet[..., None]).reshape(count, pop.size * block_h)
    return rain
