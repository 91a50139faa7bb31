"""What remains of a job for the fill band: stages that are over, its own issued stints, the bond coat's age."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Sequence
from typing import Any

from jobs.models import Job
from jobs.physics.constants import WIND_SHARE_AT_SURFACE
from jobs.timeline.air_rules import DayHabits
from jobs.timeline.crew_room import FillTask
from jobs.timeline.slipping import OwnStint, SlipJob
from jobs.timeline.stage_job import StageJob
from jobs.timeline.weather import HourlyWeather
from scheduling.models import Stage, Stint, StintState
from scheduling.selectors.outlook_setting import Setting
from scheduling.selectors.problem import KEYS, LOGGED
from scheduling.slots import DAY_SLOTS, SlotClock


def slip_job(
    job: Job,
    setting: Setting,
    stages: StageJob,
    own: Sequence[Stint],
    clock: SlotClock,
    courses: HourlyWeather,
    task: FillTask,
    lengths: dict[str, int],
    age_h: Callable[[dt.datetime], float],
) -> SlipJob:
    """What remains of the job. *age_h*: equivalent age at 20 C, by the start of the courses, of a coat laid then."""
    by_key = {stint.key: stint for stint in own}
    done = _over(by_key)
    shared: dict[str, Any] = {
        "fill": task,
        "limits": setting.limits,
        "clock": stages.plaster.clock,
        "habits": DayHabits(
            laying_h=stages.plaster.laying_h, wind_share=WIND_SHARE_AT_SURFACE * stages.plaster.shelter
        ),
        "own": _own(by_key, done, clock, courses),
    }
    if Stage.PLASTER in done:
        plaster = by_key.get(Stage.PLASTER)
        ended = courses.start if plaster is None else plaster.done_at or plaster.ends
        ready = (ended - courses.start) / dt.timedelta(hours=1) + setting.limits.surface_ready_h
        return SlipJob(stage="fill", plaster_end_h=max(0.0, ready), **shared)
    if Stage.BOND in done:
        bonded = by_key.get(Stage.BOND_AGAIN if Stage.BOND_AGAIN in by_key else Stage.BOND)
        if bonded is None:  # nobody planned it, but the plaster is being laid on it
            return SlipJob(stage="plaster", bond_age_h=setting.limits.bond_cure_age_h, **shared)
        day = clock.day(bonded.starts.astimezone(clock.zone).date())
        return SlipJob(stage="plaster", bond_day=min(0, day), bond_age_h=age_h(bonded.done_at or bonded.ends), **shared)
    if Stage.PREP in done:
        return SlipJob(stage="bond", ready_day=0, **shared)
    return SlipJob(stage="prep", ready_day=_empty_day(job, setting, by_key, done, clock, lengths), **shared)


def _over(by_key: dict[str, Stint]) -> set[str]:
    """Stages that are over: done, or before one that was begun or done, logged or not."""
    reached = max((KEYS.index(key) for key, stint in by_key.items() if stint.state in LOGGED), default=0)
    return {key for key, stint in by_key.items() if stint.state == StintState.DONE} | set(KEYS[:reached])


def _empty_day(
    job: Job, setting: Setting, by_key: dict[str, Stint], done: set[str], clock: SlotClock, lengths: dict[str, int]
) -> int:
    """First day on which prep may begin: after the pump is pulled."""
    if Stage.DRAIN_PULL in done:
        return 0
    if Stage.DRAIN_PULL in by_key:
        return max(0, clock.day(by_key[Stage.DRAIN_PULL].ends.astimezone(clock.zone).date()))
    earliest = max(0, clock.day(job.earliest_date)) if job.earliest_date else 0
    drain = lengths["drain_setup_len"] + lengths["pump_len"] + lengths["drain_pull_len"]
    return earliest + 1 + math.ceil(drain / DAY_SLOTS)


def _own(by_key: dict[str, Stint], done: set[str], clock: SlotClock, courses: HourlyWeather) -> dict[str, OwnStint]:
    names = {Stage.PREP: "prep", Stage.BOND: "bond", Stage.PLASTER: "plaster", Stage.FILL_START: "fill"}
    own = {}
    for key, name in names.items():
        stint = by_key.get(key)
        if stint is None or key in done:
            continue
        first, last = (clock.day(at.astimezone(clock.zone).date()) for at in (stint.starts, stint.ends))
        start_h = (stint.starts - courses.start) / dt.timedelta(hours=1) if name == "fill" else None
        if first >= 0:
            own[name] = OwnStint(first, last, start_h)
    return own
