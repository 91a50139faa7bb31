"""From how far the water stands below full to the share of the water that is in."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from jobs.models import Pool
from jobs.physics.validity import in_range
from jobs.selectors.pools import pool_shape


def share_full(pool: Pool, below_full_m: float) -> float:
    """Share of the full volume, 0 to 1, with the water *below_full_m* under the water line.

    The floor profile is cut off at the level and the volume below it integrated exactly; steps, benches and cove,
    a percent or so of the water, are left out on both sides.

    Raises
    ------
    ValueError
        For a level below the deepest point or above full.
    """
    shape = pool_shape(pool)
    stations, depths = (np.asarray(side, dtype=np.float64) for side in zip(*shape.profile, strict=True))
    deepest = float(depths.max())
    level = float(in_range("water level below full", below_full_m, 0, deepest, "m"))
    if deepest - level < 1e-6:
        return 0.0
    left = depths - level
    cuts = [
        stations[at] + left[at] / (left[at] - left[at + 1]) * (stations[at + 1] - stations[at])
        for at in range(len(left) - 1)
        if left[at] * left[at + 1] < 0
    ]
    along = np.unique(np.concatenate((stations, cuts)))
    profile = tuple(zip(along.tolist(), np.maximum(np.interp(along, stations, left), 0.0).tolist(), strict=True))
    return float(replace(shape, profile=profile).volume_m3 / shape.volume_m3)


def deepest_m(pool: Pool) -> float:
    return max(float(depth) for _, depth in pool.profile)
