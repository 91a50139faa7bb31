"""A planner's answer as stints with times."""

from __future__ import annotations

import datetime as dt
from typing import Final

from scheduling.models import Stage
from scheduling.slots import SlotClock
from scheduling.solver.objective import work_of
from scheduling.solver.plan import Plan as Answer
from scheduling.solver.problem import Problem

DRAIN: Final = (Stage.DRAIN_SETUP, Stage.DRAIN_PULL)


def timed_stints(
    problem: Problem, answer: Answer, slots: SlotClock
) -> dict[tuple[str, str], tuple[str, dt.datetime, dt.datetime]]:
    """(job, stage) to (crew, start, end) in UTC, for every decided stint."""
    decided = {(stint.job, stint.stage) for stint in answer.stints}
    return {
        (work.job.id, work.stage): (work.crew.id, slots.instant(work.start), slots.instant(work.end))
        for work in work_of(problem, answer)
        if (work.job.id, work.stage) in decided
    }


def stage_of(key: str) -> str:
    """The stage of a planner's key: every start-up visit is one stage."""
    return Stage.START_UP if key.startswith("startup_") else key
