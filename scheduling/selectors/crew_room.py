"""Room of the crews for one job, from shifts, absences and the issued stints of other jobs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

import numpy as np

from jobs.models import Job
from jobs.timeline.crew_room import BoolArray, CrewRoom
from scheduling.models import Crew, Skill, Stint
from scheduling.selectors.crews import shift_slots
from scheduling.slots import DAY_SLOTS, SLOT_MIN, SlotClock


def crew_room(job: Job, crews: Iterable[Crew], stints: Iterable[Stint], first_day: dt.date, horizon: int) -> CrewRoom:
    """When a prep, plaster or water crew is free for this job, in the site's own wall clock."""
    clock = SlotClock(first_day, job.site.tz)
    days = horizon + 1
    others = [stint for stint in stints if stint.job_id != job.pk]
    free = {skill: np.zeros((days, DAY_SLOTS), dtype=bool) for skill in Skill.values}
    plaster = np.zeros(days, dtype=bool)
    for crew in crews:
        slots = _free_slots(crew, [stint for stint in others if stint.crew_id == crew.pk], clock, days)
        for skill in crew.skills:
            free[skill] |= slots
        if Skill.PLASTER in crew.skills:
            plaster |= _whole_days(crew, slots, clock, days)
    quiet = np.zeros(DAY_SLOTS, dtype=bool)
    quiet[: -(-job.site.quiet_until_min // SLOT_MIN)] = True  # a half-hour that is partly quiet is quiet
    quiet[job.site.quiet_from_min // SLOT_MIN :] = True
    halves: BoolArray = (free[Skill.PREP] & ~quiet).reshape(days, 24, 2)
    return CrewRoom(
        zone=job.site.zone,
        first_day=first_day,
        horizon_day=horizon,
        prep=halves[:, :, 0] & halves[:, :, 1],
        plaster=plaster,
        water=free[Skill.WATER] & ~quiet,
    )


def _free_slots(crew: Crew, busy: list[Stint], clock: SlotClock, days: int) -> BoolArray:
    slots = np.zeros(days * DAY_SLOTS, dtype=bool)
    for start, end in shift_slots(crew, clock, days):
        slots[start:end] = True
    for stint in busy:
        slots[max(0, clock.slot(stint.starts)) : max(0, clock.slot(stint.ends, up=True))] = False
    return slots.reshape(days, DAY_SLOTS)


def _whole_days(crew: Crew, slots: BoolArray, clock: SlotClock, days: int) -> BoolArray:
    """Days on which nothing of another job is in the crew's shift: a plaster day is never shared."""
    flat = np.zeros(days * DAY_SLOTS, dtype=bool)
    for start, end in shift_slots(crew, clock, days):
        flat[start:end] = True
    shift = flat.reshape(days, DAY_SLOTS)
    whole: BoolArray = shift.any(axis=1) & (slots == shift).all(axis=1)
    return whole
