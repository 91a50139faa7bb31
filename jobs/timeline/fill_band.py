"""The fill band: when the pool will be full, with probabilities, from weather scenarios."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from jobs.physics.validity import FloatArray, in_range
from jobs.timeline.crew_room import CrewRoom, IntArray
from jobs.timeline.scores import crps_days, pinball_days, quantile_day, randomised_pit, stated_coverage
from jobs.timeline.slipping import DayRule, RefusalHabit, SlipJob, slips
from jobs.timeline.weather import HourlyWeather

__all__ = [
    "FillBand",
    "band",
    "crps_days",
    "fill_days",
    "mean_over_median",
    "pinball_days",
    "production_draws_h",
    "randomised_pit",
    "stated_coverage",
]

HORIZON_DAY = 45
PRODUCTION_CV = 0.20  # until the firm's own is known [CP]
EXTRA_DAY_CHANCE = 0.05  # hidden delamination: one more prep day [CP]
EXTRA_DAY_H = 8.0


@dataclass(frozen=True)
class FillBand:
    """Earliest to latest fill day of one job.

    Parameters
    ----------
    p10, p50, p80, p90 : first day index (0 is today) with at least that share at or before it;
        ``horizon_day + 1`` means later than the horizon
    probability_by_date : (day index, share at or before it), only days on which the share grows
    share_later : share of scenarios without a fill up to the horizon
    horizon_day : last day that is a date
    seed : what the draws came from
    source : what the weather came from, in words
    first_date : local date of day 0, or None
    """

    p10: int
    p50: int
    p80: int
    p90: int
    probability_by_date: tuple[tuple[int, float], ...]
    share_later: float
    horizon_day: int
    seed: int
    source: str
    first_date: date | None = None

    def is_later(self, day: int) -> bool:
        """Whether a day index stands for "later"."""
        return day > self.horizon_day

    def date_of(self, day: int) -> date | None:
        """Local date of a day index; None for "later" or when day 0 is not known."""
        if self.first_date is None or self.is_later(day):
            return None
        return self.first_date + timedelta(days=day)

    def share_by(self, day: int) -> float:
        """Share of scenarios full on or before *day*."""
        return max((share for when, share in self.probability_by_date if when <= day), default=0.0)


def fill_days(
    weather: HourlyWeather,
    job: SlipJob,
    calendar: CrewRoom,
    production_h: ArrayLike,
    *,
    set_time_factor: FloatArray | None = None,
    refusal: RefusalHabit | None = None,
    day_rule: DayRule | None = None,
) -> IntArray:
    """Day index on which the pool is full in each scenario; ``calendar.later`` beyond the horizon.

    Parameters as :func:`jobs.timeline.slipping.slips`; day 0 is ``calendar.first_day``.
    """
    return slips(
        weather,
        job,
        calendar,
        production_h,
        set_time_factor=set_time_factor,
        refusal=refusal,
        day_rule=day_rule,
    ).fill_day


def band(
    days: ArrayLike,
    *,
    horizon_day: int = HORIZON_DAY,
    seed: int = 0,
    source: str = "",
    first_date: date | None = None,
) -> FillBand:
    """The band of a sample of fill days.

    Parameters
    ----------
    days : day index per scenario, shape [scenario]; anything beyond *horizon_day* is "later" and counts beyond
        every quantile, never dropped
    horizon_day, seed, source, first_date : kept with the band

    Raises
    ------
    ValueError
        If there is no scenario.
    """
    sample = np.sort(np.asarray(days, dtype=np.int_).ravel())
    if not sample.size:
        raise ValueError("a band needs one scenario or more; there is none.")
    sample = np.minimum(sample, horizon_day + 1)
    when, counts = np.unique(sample[sample <= horizon_day], return_counts=True)
    shares = np.cumsum(counts) / sample.size
    p10, p50, p80, p90 = (int(quantile_day(sample, level)) for level in (0.1, 0.5, 0.8, 0.9))
    return FillBand(
        p10=p10,
        p50=p50,
        p80=p80,
        p90=p90,
        probability_by_date=tuple((int(day), float(share)) for day, share in zip(when, shares, strict=True)),
        share_later=float((sample > horizon_day).mean()),
        horizon_day=horizon_day,
        seed=seed,
        source=source,
        first_date=first_date,
    )


def mean_over_median(cv: float) -> float:
    """Mean of a lognormal over its median: what a learned factor, which is a median, must be raised by.

    Parameters
    ----------
    cv : coefficient of variation
    """
    return float(np.sqrt(1.0 + in_range("spread of production times", cv, 0.0, 5.0, "") ** 2))


def production_draws_h(
    estimate_h: float,
    count: int,
    seed: int,
    *,
    cv: float = PRODUCTION_CV,
    extra_day_chance: float = EXTRA_DAY_CHANCE,
    extra_day_h: float = EXTRA_DAY_H,
) -> FloatArray:
    """Crew hours of prep for each scenario [h], shape [count].

    Parameters
    ----------
    estimate_h : estimate that remains [h], the mean of the draws without the extra day
    count, seed : number of draws and their seed
    cv : coefficient of variation of the lognormal
    extra_day_chance, extra_day_h : chance and length of one more prep day

    Notes
    -----
    Stratified: one draw from each of *count* equal parts of the distribution, in random order.
    """
    in_range("estimate of prep hours", estimate_h, 0.0, 1e5, "h")
    rng = np.random.default_rng([seed, 17])
    level = (rng.permutation(count) + rng.random(count)) / count
    spread = np.sqrt(np.log1p(cv * cv))
    hours = estimate_h * np.exp(spread * ndtri(level) - spread * spread / 2.0)
    if estimate_h > 0.0:
        hours = hours + extra_day_h * (rng.random(count) < extra_day_chance)
    return np.asarray(hours)
