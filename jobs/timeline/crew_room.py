"""On which days and half-hours crews with a skill have room for one job, and when its fill can start.

Wall-clock hours of the site are mapped to hours of the weather once, so that a fill across a clock change is
as long as it is and a working day keeps its wall-clock hours.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from jobs.physics.validity import FloatArray

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int_]

SLOTS = 48  # half-hours of a wall-clock day
NEVER = -1


@dataclass(frozen=True, eq=False)
class CrewRoom:
    """Room of the crews for one job, day by day.

    Parameters
    ----------
    zone : IANA zone of the site
    first_day : local date of day 0
    horizon_day : last day index that is a date; anything after it is "later"
    prep : room of a prep crew in each wall-clock hour, quiet hours taken out, shape [day, 24]
    plaster : whether a plaster crew has room for a plaster day, shape [day]
    water : room of a water crew in each wall-clock half-hour, shape [day, 48]; None: fills start at 08:00 daily
        and nobody has to be there (the back-test's rule)
    dusk_h : wall-clock hour of civil dusk, shape [day]; None: no rule about darkness
    """

    zone: str
    first_day: date
    horizon_day: int
    prep: BoolArray
    plaster: BoolArray
    water: BoolArray | None = None
    dusk_h: FloatArray | None = None

    def __post_init__(self) -> None:
        need = self.horizon_day + 1
        tails: dict[str, tuple[int, ...]] = {"prep": (24,), "plaster": (), "water": (SLOTS,), "dusk_h": ()}
        for name, tail in tails.items():
            array = getattr(self, name)
            if array is not None and (array.shape[1:] != tail or len(array) < need or array.ndim != 1 + len(tail)):
                raise ValueError(
                    f"room of {name} has shape {array.shape}; needed is {(need, *tail)} or more days "
                    f"for a horizon of {self.horizon_day} days."
                )

    @property
    def later(self) -> int:
        """The day index that stands for "later than the horizon"."""
        return self.horizon_day + 1

    @property
    def days(self) -> int:
        """Number of days from today to the horizon, both included."""
        return self.horizon_day + 1


def wall_hours(zone: str, first_day: date, days: int, start: datetime) -> IntArray:
    """Hour of the weather that begins at (or holds) each local wall-clock hour, shape [day, 24].

    A wall-clock hour that a clock change skips is mapped to the hour after it.
    """
    return np.asarray(np.floor_divide(wall_half_hours(zone, first_day, days, start, True)[:, ::2], 2))


@functools.lru_cache(maxsize=256)
def wall_half_hours(zone: str, first_day: date, days: int, start: datetime, skipped_follow: bool = False) -> IntArray:
    """Half-hours from *start* (UTC) to each local wall-clock half-hour, shape [day, 48].

    Half-hours that do not exist on a clock-change day are -1 (:data:`NEVER`) unless *skipped_follow*; of
    repeated ones the first counts. In zones off the half-hour the half-hour that holds the instant is given.
    """
    site = ZoneInfo(zone)
    rows = np.empty((days, SLOTS), dtype=np.int_)
    for day in range(days):
        midnight = datetime.combine(first_day + timedelta(days=day), time(), site)
        next_midnight = datetime.combine(first_day + timedelta(days=day + 1), time(), site)
        begin = (midnight.astimezone(UTC) - start) // timedelta(minutes=30)
        if midnight.utcoffset() == next_midnight.utcoffset():
            rows[day] = begin + np.arange(SLOTS)
        else:
            rows[day] = [_half_hour(midnight, slot, start, skipped_follow) for slot in range(SLOTS)]
    rows.flags.writeable = False
    return rows


def _half_hour(midnight: datetime, slot: int, start: datetime, skipped_follow: bool) -> int:
    wall = midnight + slot * timedelta(minutes=30)  # wall-clock arithmetic
    utc = wall.astimezone(UTC)
    back = utc.astimezone(midnight.tzinfo).replace(tzinfo=None)
    if back != wall.replace(tzinfo=None) and not skipped_follow:
        return NEVER
    return int((utc - start) // timedelta(minutes=30))


@dataclass(frozen=True, eq=False)
class FillOptions:
    """Starts of a fill that crews can serve, ascending, in hours after the weather's start."""

    start_h: FloatArray
    full_h: FloatArray
    full_day: IntArray

    def first_from(self, ready_h: FloatArray) -> IntArray:
        """Number of the first option that starts at or after *ready_h* (may equal the number of options)."""
        return np.asarray(np.searchsorted(self.start_h, ready_h - 1e-6, side="left"))


@dataclass(frozen=True)
class FillTask:
    """Filling as the planner sees it: set-up by a person, hours of running water, a person at the end.

    Parameters
    ----------
    fill_h : hours of running water from the end of the set-up to full
    set_up_h, attend_h : lengths of the water crew's stints at the start and at the end [h]
    attend_early_h : earliest start of the attendance before full [h] (it never starts after full)
    """

    fill_h: float = 0.0
    set_up_h: float = 0.0
    attend_h: float = 0.0
    attend_early_h: float = 0.0


def fill_options(room: CrewRoom, task: FillTask, start: datetime, own_start_h: float | None = None) -> FillOptions:
    """Every start of a fill that the water crews' room allows, and the local date on which the pool is full.

    Parameters
    ----------
    room, task : see there
    start : start of the weather, UTC
    own_start_h : start of the job's own issued fill stint [h after start]: nothing earlier is offered, it itself is
    """
    days = room.days if room.water is None else len(room.water)
    slots = wall_half_hours(room.zone, room.first_day, days, start)
    if room.water is None:
        begin = slots[:, 16] / 2.0
    else:
        begin = _served_starts(room.water, slots, task) / 2.0
    if own_start_h is not None:
        begin = np.unique(np.append(begin[begin >= own_start_h], own_start_h))
    full = begin + task.set_up_h + task.fill_h
    midnights = wall_half_hours(room.zone, room.first_day, days + 15, start)[:, 0] / 2.0
    full_day = np.searchsorted(midnights, full + 1e-9, side="right") - 1
    return FillOptions(begin, full, np.minimum(full_day, room.later))


def _served_starts(water: BoolArray, slots: IntArray, task: FillTask) -> IntArray:
    """Half-hours at which set-up can begin with somebody there at the end, ascending."""
    there = np.zeros(int(slots.max()) + 2, dtype=np.bool_)
    usable = water & (slots >= 0)
    there[slots[usable]] = True
    set_up, attend = _half_hours(task.set_up_h), _half_hours(task.attend_h)
    can_start, can_attend = _runs_of(there, max(set_up, 1)), _runs_of(there, attend)
    full = np.arange(there.size) + set_up + _half_hours(task.fill_h)
    early = _half_hours(task.attend_early_h)
    attended = np.zeros(there.size + full[0] + 1, dtype=np.int_)
    attended[1 : there.size + 1] = np.cumsum(can_attend)
    attended[there.size + 1 :] = attended[there.size]
    last = np.minimum(full + 1, attended.size - 1)
    served = attended[last] - attended[np.minimum(np.maximum(full - early, 0), last)] > 0
    within = full < there.size
    starts: IntArray = np.flatnonzero(can_start & within & (served if attend else True))
    return starts


def _half_hours(hours: float) -> int:
    return int(np.ceil(2.0 * hours - 1e-9))


def _runs_of(there: BoolArray, length: int) -> BoolArray:
    """Whether somebody is there for *length* half-hours from each half-hour on."""
    total = np.concatenate(([0], np.cumsum(there)))
    until = np.minimum(np.arange(there.size) + length, there.size)
    runs: BoolArray = total[until] - total[:-1] >= length
    return runs
