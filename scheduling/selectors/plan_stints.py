"""A planner's answer as stints with times."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Final

from scheduling.models import Stage, Stint, StintState
from scheduling.slots import SlotClock
from scheduling.solver.objective import work_of
from scheduling.solver.plan import Plan as Answer
from scheduling.solver.plan import Stint as Decision
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


def stints_in_force(problem: Problem) -> dict[tuple[str, str], Stint]:
    """Issued and held stints of the problem's jobs by (job, stage), without those that the problem takes as fixed."""
    fixed = {(job.id, stage.stage) for job in problem.jobs for stage in job.fixed}
    rows = Stint.objects.filter(
        job__in=list(problem.job_of), state__in=(StintState.ISSUED, StintState.PROPOSED), plan__isnull=False
    ).select_related("crew", "job__site")
    found = {(str(stint.job_id), stint.key): stint for stint in rows}
    return {key: stint for key, stint in found.items() if key not in fixed}


def answer_in_force(problem: Problem, present: Mapping[tuple[str, str], Stint], slots: SlotClock) -> Answer:
    """The stints in force as an answer to the problem; a job without an end of the fill counts as left out."""
    decided = tuple(
        Decision(job, key, str(stint.crew_id), slots.slot(stint.starts))
        for (job, key), stint in present.items()
        if str(stint.crew_id) in problem.crew_of and key in problem.stages
    )
    ending = {row.job for row in decided if row.stage == Stage.FILL_END}
    ending |= {job.id for job in problem.jobs for stage in job.fixed if stage.stage == Stage.FILL_END}
    return Answer(decided, tuple(job.id for job in problem.jobs if job.id not in ending))
