"""How the remaining stages of one job slip through the days of each weather scenario.

One pass over the days, vectorised over the scenarios. In this order on each day: a bond coat that has grown too
old goes back to bonding; bond; plaster; prep. A stage that finds its day refused waits for the next day on which
the weather and a crew with the skill allow it. The fill follows at the first start its crew can serve.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from jobs.physics.validity import FloatArray, in_range
from jobs.timeline.air_rules import AirCourse, Cause, DayHabits
from jobs.timeline.crew_room import BoolArray, CrewRoom, FillOptions, FillTask, IntArray, fill_options, wall_hours
from jobs.timeline.limits import Limits
from jobs.timeline.refusals import DRY, RAINY
from jobs.timeline.set_clock import SetClock
from jobs.timeline.weather import HourlyWeather

StageName = Literal["prep", "bond", "plaster", "fill"]
STAGES: Final[tuple[StageName, ...]] = ("prep", "bond", "plaster", "fill")
PREP, BOND, CURE, FILL = range(4)  # CURE: the bond coat is on, plaster is next

DayRule = Callable[[IntArray, int], BoolArray]
"""``rule(scenarios, day) -> allowed [scenario]``: a dearer judge of a plaster day (the shell's temperature
model), asked only about scenario-days that the air allows and the job reaches. It may forbid, never relax."""


@dataclass(frozen=True)
class OwnStint:
    """An issued stint of this very job: never earlier, and its own days are free for it.

    Parameters
    ----------
    first_day, last_day : day indices
    start_h : for a fill, its start in hours after the start of the weather
    """

    first_day: int
    last_day: int
    start_h: float | None = None


@dataclass(frozen=True)
class SlipJob:
    """What remains of a job.

    Parameters
    ----------
    stage : first stage not yet done; "plaster": the bond coat is on, "fill": the plaster is laid
    ready_day : first day on which prep may work (the pool is empty)
    bond_day, bond_age_h : for stage "plaster": day index of the bond coat (0 or negative) and the equivalent age
        at 20 C it has reached at the start of the weather [h]
    plaster_end_h : for stage "fill": when the surface is hard enough for water, hours after the start of the weather
    fill : the fill as the planner sees it
    limits : limits of the weather and of waiting
    clock : how the mix sets
    habits : how the firm's days run
    bond_ages : whether a bond coat can grow too old (the recoat limit applies)
    own : issued stints of this job by stage
    """

    stage: StageName = "prep"
    ready_day: int = 0
    bond_day: int = 0
    bond_age_h: float = 0.0
    plaster_end_h: float = 0.0
    fill: FillTask = field(default_factory=FillTask)
    limits: Limits = field(default_factory=Limits)
    clock: SetClock = field(default_factory=SetClock)
    habits: DayHabits = field(default_factory=DayHabits)
    bond_ages: bool = True
    own: Mapping[StageName, OwnStint] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class RefusalHabit:
    """An office that will not start on a doubtful morning also loses days that turn out allowed.

    Parameters
    ----------
    rainy, dry : chance that an allowed day is refused when some rain falls on it, or none; the usual ones before a
        firm's own mornings have taught theirs (:func:`jobs.timeline.refusals.refusal_shares`)
    draw : uniform draws, shape [scenario, day]
    """

    draw: FloatArray
    rainy: float = RAINY
    dry: float = DRY


@dataclass(frozen=True, eq=False)
class Slips:
    """What became of a job in each scenario.

    ``fill_day`` is the day the pool is full, ``later`` beyond the horizon; ``plaster_day`` and ``bond_day`` the
    last of their kind (``later`` where there is none); ``lost`` counts days without progress by stage and
    :class:`Cause`, shape [scenario, 4, limit].
    """

    fill_day: IntArray
    plaster_day: IntArray
    bond_day: IntArray
    fill_start_h: FloatArray
    lost: IntArray
    later: int


def slips(
    weather: HourlyWeather,
    job: SlipJob,
    room: CrewRoom,
    production_h: ArrayLike,
    *,
    set_time_factor: FloatArray | None = None,
    refusal: RefusalHabit | None = None,
    day_rule: DayRule | None = None,
) -> Slips:
    """Push one job through every scenario.

    Parameters
    ----------
    weather : [hour] or [scenario, hour]; starts on day 0 or before it and covers the horizon
    job : what remains
    room : crews' room, horizon, zone
    production_h : crew hours of prep that remain, scalar or [scenario]
    set_time_factor : slower or faster set, [scenario]; None: as stated
    refusal : the office's habit; None: no allowed day is refused
    day_rule : see :data:`DayRule`

    Raises
    ------
    ValueError
        If the weather has gaps, does not cover the horizon, or the hours of prep are negative.
    """
    course = AirCourse.of(weather, job.limits, job.clock, job.habits, set_time_factor)
    hours_left = np.broadcast_to(in_range("hours of prep", production_h, 0.0, 1e5, "h"), course.scenarios)
    wall = wall_hours(room.zone, room.first_day, room.days, weather.start)
    if wall[0, 0] < -48 or course.hours < wall[-1, 23]:
        raise ValueError(
            f"weather has {course.hours} h; the horizon of {room.horizon_day} days needs {int(wall[-1, 23]) + 1} h "
            "from midnight of its first day."
        )
    own_fill = job.own.get("fill")
    options = fill_options(room, job.fill, weather.start, own_fill.start_h if own_fill else None)
    state = _State.of(job, hours_left, room, course, options, wall, refusal, day_rule)
    for day in range(room.days):
        if not state.run(day):
            break
    return state.end()


@dataclass(eq=False)
class _State:
    job: SlipJob
    room: CrewRoom
    course: AirCourse
    options: FillOptions
    wall: IntArray
    refusal: RefusalHabit | None
    day_rule: DayRule | None
    free: Mapping[StageName, BoolArray]
    stage: IntArray
    work_h: FloatArray
    bond_day: IntArray
    age_h: FloatArray
    plaster_day: IntArray
    option: IntArray
    lost: IntArray

    @classmethod
    def of(
        cls,
        job: SlipJob,
        hours_left: FloatArray,
        room: CrewRoom,
        course: AirCourse,
        options: FillOptions,
        wall: IntArray,
        refusal: RefusalHabit | None,
        day_rule: DayRule | None,
    ) -> _State:
        count = course.scenarios
        begin = {"prep": PREP, "bond": BOND, "plaster": CURE, "fill": FILL}[job.stage]
        stage = np.full(count, begin)
        if begin == PREP:
            stage[hours_left <= 0.0] = BOND
        at_once = options.first_from(np.asarray(job.plaster_end_h)) if begin == FILL else options.start_h.size
        any_prep = np.asarray(room.prep.any(axis=1))
        return cls(
            job=job,
            room=room,
            course=course,
            options=options,
            wall=wall,
            refusal=refusal,
            day_rule=day_rule,
            free={
                "prep": _with_own(any_prep, job.own.get("prep"), job.ready_day),
                "bond": _with_own(any_prep, job.own.get("bond"), job.ready_day),
                "plaster": _with_own(room.plaster, job.own.get("plaster"), 0),
            },
            stage=stage,
            work_h=hours_left.copy(),
            bond_day=np.full(count, job.bond_day if begin == CURE else room.later),
            age_h=np.full(count, job.bond_age_h),
            plaster_day=np.full(count, room.later),
            option=np.full(count, at_once),
            lost=np.zeros((count, len(STAGES), len(Cause)), dtype=np.int_),
        )

    def run(self, day: int) -> bool:
        """One day; False when no scenario has anything left to wait for."""
        wall = self.wall[day]
        curing = np.flatnonzero(self.stage == CURE)
        if curing.size:
            self._ripen(curing, day)
        bonding = np.flatnonzero(self.stage == BOND)
        if bonding.size:
            self._bond(bonding, day, wall)
        if curing.size:
            self._plaster(curing[self.stage[curing] == CURE], day, wall)
        working = np.flatnonzero(self.stage == PREP)
        if working.size:
            self._prep(working, day, wall)
        return bool((self.stage != FILL).any())

    def _ripen(self, rows: IntArray, day: int) -> None:
        """Let the bond coat age to the morning of *day*; one that has grown too old is laid again."""
        habits = self.job.habits
        morning = int(self.wall[day, habits.plaster_from_hour])
        if day == 0:
            self.age_h[rows] += self.course.cure_gain_h(rows, 0, morning)
        else:
            fresh = self.bond_day[rows] == day - 1
            since = (habits.bond_hours[1], habits.plaster_from_hour)
            for some, hour in zip((rows[fresh], rows[~fresh]), since, strict=True):
                if some.size:
                    self.age_h[some] += self.course.cure_gain_h(some, int(self.wall[day - 1, hour]), morning)
        if self.job.bond_ages:
            waited_h = 24.0 * (day - self.bond_day[rows]) + habits.plaster_from_hour - habits.bond_hours[1]
            old = rows[waited_h > self.job.limits.recoat_max_h]
            self.stage[old] = BOND
            self.lost[old, BOND, Cause.RECOAT] += 1

    def _bond(self, rows: IntArray, day: int, wall: IntArray) -> None:
        if not self.free["bond"][day]:
            self.lost[rows, BOND, Cause.CREW] += 1
            return
        closed = self.course.bond_closed(rows, wall)
        self.lost[rows, BOND, closed] += 1
        laid = rows[closed == Cause.NONE]
        self.stage[laid] = CURE
        self.bond_day[laid] = day
        self.age_h[laid] = 0.0

    def _plaster(self, rows: IntArray, day: int, wall: IntArray) -> None:
        unripe = self.age_h[rows] < self.job.limits.bond_cure_age_h
        self.lost[rows[unripe], 2, Cause.CURE] += 1
        rows = rows[~unripe]
        if not rows.size:
            return
        if not self.free["plaster"][day]:
            self.lost[rows, 2, Cause.CREW] += 1
            return
        dusk = None if self.room.dusk_h is None else float(self.room.dusk_h[day])
        answer = self.course.plaster_starts(rows, wall, dusk, self.options)
        reason = answer.reason.copy()
        self._judge_further(rows, day, wall, reason)
        self.lost[rows, 2, reason] += 1
        laid = reason == Cause.NONE
        self.stage[rows[laid]] = FILL
        self.plaster_day[rows[laid]] = day
        never = self.options.start_h.size
        self.option[rows[laid]] = np.where(answer.allowed, answer.option, never).min(axis=1)[laid]

    def _judge_further(self, rows: IntArray, day: int, wall: IntArray, reason: IntArray) -> None:
        """Write into *reason* what the office's habit and the shell's temperature refuse."""
        if self.refusal is not None:
            rain = self.course.window(self.course.rain_mm, rows, int(wall[0]), int(wall[23]) + 1)
            wet = (rain > self.job.limits.rain_counts_mm).any(axis=1)
            chance = np.where(wet, self.refusal.rainy, self.refusal.dry)
            reason[(reason == Cause.NONE) & (self.refusal.draw[rows, day] < chance)] = Cause.REFUSED
        if self.day_rule is not None:
            asked = np.flatnonzero(reason == Cause.NONE)
            if asked.size:
                reason[asked[~self.day_rule(rows[asked], day)]] = Cause.SHELL

    def _prep(self, rows: IntArray, day: int, wall: IntArray) -> None:
        if not self.free["prep"][day]:
            self.lost[rows, PREP, Cause.CREW] += 1
            return
        own = self.job.own.get("prep")
        working = self.room.prep[day]
        if own is not None and own.first_day <= day <= own.last_day and not working.any():
            working = self.room.prep.any(axis=0)
        done = self.course.prep_worth_h(rows, wall, working)
        self.lost[rows, PREP, np.where(done > 0.0, Cause.WORK, Cause.RAIN)] += 1
        self.work_h[rows] -= done
        self.stage[rows[self.work_h[rows] <= 1e-9]] = BOND

    def end(self) -> Slips:
        """First start of the fill without a frozen hose after the surface is ready."""
        count = self.options.start_h.size
        fill_day = np.full(self.stage.size, self.room.later)
        start_h = np.full(self.stage.size, np.inf)
        rows = np.flatnonzero(self.option < count)
        if rows.size:
            chosen = self._first_without_frost(rows)
            some = rows[chosen < count]
            fill_day[some] = self.options.full_day[chosen[chosen < count]]
            start_h[some] = self.options.start_h[chosen[chosen < count]]
        return Slips(fill_day, self.plaster_day, self.bond_day, start_h, self.lost, self.room.later)

    def _first_without_frost(self, rows: IntArray) -> IntArray:
        limits = self.job.limits
        chosen = self.option[rows].copy()
        open_rows = np.arange(rows.size)
        while open_rows.size:
            begin = np.floor(self.options.start_h[chosen[open_rows]]).astype(int)
            hours = begin[:, None] + np.arange(int(np.ceil(limits.fill_air_min_for_h)))
            temp = self.course.temp_c[rows[open_rows][:, None], np.clip(hours, 0, self.course.hours - 1)]
            frost = (temp <= limits.fill_air_min_c).any(axis=1)
            open_rows = open_rows[frost]
            chosen[open_rows] += 1
            self.lost[rows[open_rows], FILL, Cause.HOSE_FROST] += 1
            open_rows = open_rows[chosen[open_rows] < self.options.start_h.size]
        return chosen


def _with_own(free: BoolArray, own: OwnStint | None, not_before: int) -> BoolArray:
    """Free days for a stage: none before its issued stint, and the stint's own days."""
    days = free.copy()
    days[: max(not_before, 0)] = False
    if own is not None:
        days[: max(own.first_day, 0)] = False
        days[max(own.first_day, 0) : own.last_day + 1] = True
    return days
