"""What an independent library says about the same cases."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]


@dataclass(frozen=True)
class Opinion:
    """Ours and theirs for the same cases; *bound* is the greatest difference allowed, in *unit*, and why that much."""

    library: str
    quantity: str
    unit: str
    ours: Numbers
    theirs: Numbers
    bound: float
    because: str
    cases: list[str]
    relative: bool = False

    @property
    def differences(self) -> Numbers:
        """Absolute, or as a share of theirs."""
        apart = np.abs(self.ours - self.theirs)
        return apart / np.abs(self.theirs) if self.relative else apart

    def worst(self) -> tuple[str, float, float, float]:
        """The case farthest apart: words, ours, theirs, difference."""
        at = int(np.argmax(self.differences))
        return self.cases[at], float(self.ours[at]), float(self.theirs[at]), float(self.differences[at])


def cases_of(**columns: Any) -> list[str]:
    rows = zip(*(np.broadcast_arrays(*columns.values())), strict=True)
    return [", ".join(f"{name} {float(value):.4g}" for name, value in zip(columns, row, strict=True)) for row in rows]
