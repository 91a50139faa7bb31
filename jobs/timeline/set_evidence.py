"""What the trowel passes of a day say about how fast the mix really set."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from jobs.physics.validity import FloatArray
from jobs.timeline.plaster_day import PlasterDay

LEAST_PASSES = 3  # fewer taps are no evidence [CP]


class SetEvidence(NamedTuple):
    """Age of the material at the real passes over its age at the planned ones, median [1], and how many passes."""

    ratio: float
    passes: int

    @property
    def percent(self) -> int:
        """Slower than the figure, below 0 faster [%]."""
        return round(100 * (self.ratio - 1))


def set_evidence(
    day: PlasterDay, shares: Sequence[tuple[float, float]], done_h: Mapping[tuple[int, int], float]
) -> SetEvidence | None:
    """Whether passes came earlier or later in the set than planned, in equivalent age; None with too few.

    Parameters
    ----------
    day : the day as timed from the real mixing times, without the passes
    shares : (due, until) of each pass as fractions of initial set, as the day was timed with
    done_h : (pass, section), both from 1: hours since midnight at which it was really done

    Notes
    -----
    A pass is made when the hand says so. A mix that sets in 0.9 of the time is passed at 0.9 of the planned
    equivalent age, whatever the weather does in between; waiting for hands is in the planned times already.
    """
    found = []
    for (number, section), hour in done_h.items():
        if not (1 <= number <= len(day.passes) and 1 <= section <= len(day.sections)):
            continue
        mixed = day.sections[section - 1].mixed_h
        ages, hours = _course(day, shares, section)
        real = _age(hour - mixed, hours, ages)
        planned = _age(day.passes[number - 1].sections[section - 1].done_h - mixed, hours, ages)
        if real > 0 and planned > 0:
            found.append(real / planned)
    if len(found) < LEAST_PASSES:
        return None
    return SetEvidence(float(np.median(found)), len(found))


def _course(day: PlasterDay, shares: Sequence[tuple[float, float]], section: int) -> tuple[FloatArray, FloatArray]:
    """Fractions of initial set and hours after mixing at which the section reaches them, ascending, from (0, 0)."""
    mixed = day.sections[section - 1].mixed_h
    points = {0.0: 0.0}
    for one, (due, until) in zip(day.passes, shares, strict=True):
        here = one.sections[section - 1]
        points[due], points[until] = here.due_h - mixed, here.until_h - mixed
    ages = np.array(sorted(points))
    return ages, np.array([points[age] for age in ages])


def _age(hours_after: float, hours: FloatArray, ages: FloatArray) -> float:
    """Fraction of initial set so many hours after mixing; beyond the last point at the pace of the last stretch."""
    if hours_after <= hours[-1]:
        return float(np.interp(hours_after, hours, ages))
    pace = (ages[-1] - ages[-2]) / (hours[-1] - hours[-2])
    return float(ages[-1] + pace * (hours_after - hours[-1]))
