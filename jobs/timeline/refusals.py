"""How often an office refuses a morning that the weather then allows, learned from the mornings it decided on.

Only mornings of days on which the limits would have let plaster be laid say anything about the habit: a refused day
that turned out wet was no habit but right. Rainy and rainless days are counted apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np
from scipy.special import betaincinv

from jobs.physics.validity import in_range
from jobs.timeline.air_rules import AirCourse, DayHabits
from jobs.timeline.crew_room import CrewRoom, FillTask, fill_options, wall_hours
from jobs.timeline.limits import Limits
from jobs.timeline.set_clock import SetClock
from jobs.timeline.weather import HourlyWeather

RAINY: Final = 0.40  # of allowed days with some rain that are refused, before anything is learned [BAND]
DRY: Final = 0.04  # the same of rainless days [BAND]
RAINY_MORNINGS: Final = 10.0  # own mornings that weigh as much as the usual share [CP]
DRY_MORNINGS: Final = 25.0  # the same [CP]
EIGHT_IN_TEN: Final = (0.1, 0.9)
DAYS: Final = 3  # of room around the day: a fill may follow on the next


@dataclass(frozen=True)
class Morning:
    """A morning of a day on which the weather then allowed plaster: whether some rain fell, whether it was refused."""

    rainy: bool
    refused: bool


@dataclass(frozen=True)
class RefusalShare:
    """Share of allowed days that are refused.

    Parameters
    ----------
    share : in use
    low, high : eight in ten lie between
    usual : before anything is learned
    mornings, refused : the firm's own
    own_weight : how much they count, 0 to 1; the rest is the usual share
    """

    share: float
    low: float
    high: float
    usual: float
    mornings: int
    refused: int
    own_weight: float


@dataclass(frozen=True)
class RefusalShares:
    """Of days with some rain, and of rainless ones."""

    rainy: RefusalShare
    dry: RefusalShare


def refusal_share(refused: int, mornings: int, usual: float, weight: float) -> RefusalShare:
    """The share of one kind of day.

    Parameters
    ----------
    refused, mornings : of the firm's own
    usual : share before them, between 0 and 1
    weight : own mornings that weigh as much as the usual share, above 0

    Notes
    -----
    Beta prior with mean *usual* and *weight* mornings, binomial counts: the mean of the answer is
    ``(refused + usual weight) / (mornings + weight)``.

    Raises
    ------
    ValueError
        If more were refused than there were, or the usual share is not between 0 and 1.
    """
    in_range("refused mornings", refused, 0, mornings, "")
    in_range("usual share of refused mornings", usual, 0.001, 0.999, "")
    yes, no = refused + usual * weight, mornings - refused + (1.0 - usual) * weight
    low, high = (float(betaincinv(yes, no, level)) for level in EIGHT_IN_TEN)
    return RefusalShare(yes / (yes + no), low, high, usual, mornings, refused, mornings / (mornings + weight))


def refusal_shares(mornings: Sequence[Morning]) -> RefusalShares:
    """Both shares, drawn from the usual ones to the firm's own mornings."""
    rainy = [each.refused for each in mornings if each.rainy]
    dry = [each.refused for each in mornings if not each.rainy]
    return RefusalShares(
        rainy=refusal_share(sum(rainy), len(rainy), RAINY, RAINY_MORNINGS),
        dry=refusal_share(sum(dry), len(dry), DRY, DRY_MORNINGS),
    )


def day_seen(
    observed: HourlyWeather, day: date, zone: str, limits: Limits, clock: SetClock, habits: DayHabits
) -> tuple[bool, bool]:
    """Whether the weather allowed plaster on a past day, and whether some rain fell on it.

    Parameters
    ----------
    observed : what came [hour], from the first hour of the day's work on, at least to its end
    day, zone : local date and IANA zone of the site
    limits, clock, habits : of the firm

    Raises
    ------
    ValueError
        If the weather has a gap or does not hold the day.
    """
    wall = wall_hours(zone, day, DAYS, observed.start)[0]
    begin, end = max(int(wall[0]), 0), int(wall[23]) + 1
    if wall[habits.start_hours[0]] < 0 or end > observed.hours:
        raise ValueError(f"weather of {day} is not known from {habits.start_hours[0]} h to its end.")
    course = AirCourse.of(observed, limits, clock, habits)
    room = np.ones((DAYS, 24), dtype=np.bool_)
    options = fill_options(CrewRoom(zone, day, DAYS - 1, room, room[:, 0]), FillTask(), observed.start)
    starts = course.plaster_starts(np.zeros(1, dtype=np.int_), wall, None, options)
    rainy = bool((course.rain_mm[0, begin:end] > limits.rain_counts_mm).any())
    return bool(starts.allowed.any()), rainy
