"""Smoothness as an abrasive-paper equivalent: what a grit of the P scale means in micrometres."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from jobs.physics.validity import FloatArray, in_range, plain

P_SCALE_UM: Final[tuple[tuple[float, float], ...]] = (
    (50, 336), (80, 201), (120, 125), (220, 68), (400, 35), (800, 21.8), (2000, 10.3),
)  # fmt: skip
"""(grit, mean particle size [um]) of the FEPA P scale; all remembered [M]."""
CAMI_SCALE_UM: Final[tuple[tuple[float, float], ...]] = (
    (50, 336), (80, 201), (120, 125), (220, 68), (400, 23), (800, 12),
)  # fmt: skip
"""The same of the CAMI scale, which differs above grit 220 [M]."""


def particle_um(grit: ArrayLike, scale: str = "P") -> float | FloatArray:
    """Mean particle size of an abrasive paper [um], log-log between the remembered points [M].

    Parameters
    ----------
    grit : 50 to 2000 (P) or 50 to 800 (CAMI), any shape
    scale : "P" or "CAMI"

    Raises
    ------
    ValueError
        For another scale or a grit outside it.
    """
    tables = {"P": P_SCALE_UM, "CAMI": CAMI_SCALE_UM}
    if scale not in tables:
        raise ValueError(f"scale of grits is '{scale}'; allowed is P or CAMI.")
    grits, sizes = np.log(np.array(tables[scale])).T
    value = in_range("grit", grit, float(np.exp(grits[0])), round(float(np.exp(grits[-1]))), "grit")
    return plain(np.asarray(np.exp(np.interp(np.log(value), grits, sizes))))
