"""What carries the risk of a fill day, how a band has moved, and whether bands still hold. Pure comparisons."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from jobs.timeline.air_rules import Cause
from jobs.timeline.fill_band import FillBand
from jobs.timeline.scores import quantile_day
from jobs.timeline.slipping import STAGES, Slips, StageName

PIT_MEAN_BOUND: Final = 0.08  # beyond 0.5 +- this the band no longer holds [BAND]
PIT_JOBS_LEAST: Final = 50  # finished jobs before anything is concluded [BAND]


class RiskReason(NamedTuple):
    """One part of the risk: the stage, what holds it up, and the days it adds in late scenarios over early ones.

    ``share`` is the part of all such days. Cause ``WORK`` is prep that takes longer than estimated.
    """

    stage: StageName
    cause: Cause
    days: float
    share: float


def risk_reasons(result: Slips, most: int = 3, least_days: float = 0.05) -> tuple[RiskReason, ...]:
    """Stages and limits that make the late half of the scenarios late, the heaviest first.

    Parameters
    ----------
    result : a job's course through every scenario
    most : number of reasons
    least_days : reasons that carry less are left out [days]

    Returns
    -------
    For each stage and cause the mean days lost in scenarios beyond the even chance less those at or before it; empty
    when nothing tells them apart.
    """
    late = result.fill_day > quantile_day(result.fill_day, 0.5)
    if not late.any() or late.all():
        return ()
    extra = result.lost[late].mean(axis=0) - result.lost[~late].mean(axis=0)
    extra[:, Cause.NONE] = 0.0
    total = float(extra[extra > 0.0].sum())
    heaviest = np.argsort(-extra, axis=None, kind="stable")[:most]
    found = []
    for place in heaviest:
        stage, cause = np.unravel_index(int(place), extra.shape)
        days = float(extra[stage, cause])
        if days >= least_days:
            found.append(RiskReason(STAGES[int(stage)], Cause(int(cause)), days, days / total))
    return tuple(found)


@dataclass(frozen=True)
class BandMove:
    """How a band differs from an earlier one of the same job; positive days are later.

    Parameters
    ----------
    p50_days, p80_days, p90_days : moves in days; None where either is later than its horizon
    chance_before, chance_after : chance of being full by the promised date; None without one
    share_later_change : change of the share beyond the horizon
    """

    p50_days: int | None
    p80_days: int | None
    p90_days: int | None
    chance_before: float | None
    chance_after: float | None
    share_later_change: float


def band_moved(before: FillBand, after: FillBand, promised: date | None = None) -> BandMove:
    """How *after* differs from *before*.

    Parameters
    ----------
    before, after : bands that know the date of their day 0
    promised : the date told to the pool owner

    Raises
    ------
    ValueError
        If a band does not know its dates.
    """
    for words, each in (("earlier", before), ("later", after)):
        if each.first_date is None:
            raise ValueError(f"the {words} band has no first date; two bands are compared by date.")

    def moved(name: str) -> int | None:
        was, now = (each.date_of(getattr(each, name)) for each in (before, after))
        return None if was is None or now is None else (now - was).days

    chances = (None, None) if promised is None else tuple(_chance(each, promised) for each in (before, after))
    return BandMove(
        moved("p50"), moved("p80"), moved("p90"), chances[0], chances[1], after.share_later - before.share_later
    )


def _chance(band: FillBand, promised: date) -> float:
    assert band.first_date is not None
    return band.share_by((promised - band.first_date).days)


def band_health(pit: ArrayLike) -> Literal["too few", "holds", "bands are early", "bands are late"]:
    """Whether the firm's finished jobs still fall evenly into their bands.

    Parameters
    ----------
    pit : randomised PIT of each finished job against the band it was promised from, shape [job]

    Notes
    -----
    Mean PIT outside 0.5 +- 0.08 with 50 jobs or more: pools are full later ("bands are early") or sooner than stated.
    Correct production rates first, then the habit of refusing, then the weather. The standard error is 0.29/sqrt(n).
    """
    values = np.asarray(pit, dtype=np.float64).ravel()
    if values.size < PIT_JOBS_LEAST:
        return "too few"
    off = float(values.mean()) - 0.5
    if abs(off) <= PIT_MEAN_BOUND:
        return "holds"
    return "bands are early" if off > 0.0 else "bands are late"
