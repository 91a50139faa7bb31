"""What the other stages of a job allow one of its stages: masks of starts for the rules between stages."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from scheduling.solver.objective import Work
from scheduling.solver.problem import DAY, Job, Problem

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]
Masks = dict[str, BoolArray]
CHAIN = ("drain_setup", "drain_pull", "prep", "bond", "plaster", "fill_start")


def row_values(rows: Iterable[tuple[int, int, int]], slots: IntArray, otherwise: int) -> IntArray:
    """For every slot the value of the first row (first, last, value) that contains it."""
    values = np.full(len(slots), otherwise, dtype=np.int64)
    for first, last, value in reversed(list(rows)):
        values[max(first, 0) : max(last + 1, 0)] = value
    return values


def value_at(rows: Iterable[tuple[int, int, int]], slot: int) -> int:
    """The value of the first row that contains a slot, else 0."""
    return next((value for first, last, value in rows if first <= slot <= last), 0)


def stage_masks(
    problem: Problem,
    stages: Mapping[str, Work],
    job: Job,
    stage: str,
    starts: IntArray,
    ends: IntArray,
    masks: Masks,
) -> None:
    """Narrow `masks` by what the other stages of the job ask of a stint from `starts` to `ends`."""
    if stage in CHAIN:
        _order(stages, job, stage, starts, ends, masks)
    if stage in ("bond", "bond_again"):
        _coat(problem, stages, job, stage, starts, ends, masks)
    if stage == "plaster":
        _plaster(problem, stages, job, starts, ends, masks)
    if stage == "fill_start":
        _fill_start(problem, stages, job, starts, ends, masks)
    if stage == "fill_end":
        _fill_end(problem, stages, job, starts, masks)
    if stage in problem.startup_of and "fill_end" in stages:
        visit = problem.startup_of[stage]
        due = stages["fill_end"].start // DAY + visit.day
        masks["fill_window"] &= np.abs(starts // DAY - due) <= visit.tol


def _order(stages: Mapping[str, Work], job: Job, stage: str, starts: IntArray, ends: IntArray, masks: Masks) -> None:
    at = CHAIN.index(stage)
    before = stages.get(CHAIN[at - 1]) if at else None
    after = stages.get(CHAIN[at + 1]) if at + 1 < len(CHAIN) else None
    if before is not None:
        masks["predecessor"] &= starts >= before.end + (job.pump_len if stage == "drain_pull" else 0)
    if after is not None:
        masks["predecessor"] &= ends + (job.pump_len if stage == "drain_setup" else 0) <= after.start


def _cures(job: Job) -> list[tuple[int, int, int]]:
    return [(row.first, row.last, row.cure) for row in job.bond_days]


def _waits(job: Job) -> list[tuple[int, int, int]]:
    return [(row.first, row.last, row.wait) for row in job.plaster_days]


def _coat(
    problem: Problem,
    stages: Mapping[str, Work],
    job: Job,
    stage: str,
    starts: IntArray,
    ends: IntArray,
    masks: Masks,
) -> None:
    limit, plaster = problem.rules.recoat_max, stages.get("plaster")
    first, again = stages.get("bond"), stages.get("bond_again")
    if stage == "bond" and again is not None:
        masks["predecessor"] &= ends <= again.start
    if stage == "bond_again" and first is not None:
        masks["predecessor"] &= starts >= first.end
    if plaster is None:
        return
    masks["cure"] &= ends + row_values(_cures(job), starts, 0) <= plaster.start
    age = plaster.start - ends
    if stage == "bond" and again is not None and not again.fixed:
        masks["recoat"] &= age > limit
    last = "bond_again" if again is not None and problem.rules.second_bond else "bond"
    if stage == last:
        masks["recoat"] &= age <= limit


def _plaster(
    problem: Problem, stages: Mapping[str, Work], job: Job, starts: IntArray, ends: IntArray, masks: Masks
) -> None:
    limit, rules = problem.rules.recoat_max, problem.rules
    first, again, fill = stages.get("bond"), stages.get("bond_again"), stages.get("fill_start")
    for coat in (first, again):
        if coat is not None:
            masks["cure"] &= starts >= coat.end + value_at(_cures(job), coat.start)
    if first is not None:
        if again is not None and not again.fixed:
            masks["recoat"] &= starts - first.end > limit
        last = again if again is not None and rules.second_bond else first
        masks["recoat"] &= starts - last.end <= limit
    if fill is not None:
        age = fill.start - ends
        masks["cure"] &= age >= row_values(_waits(job), starts, 0)
        masks["fill_window"] &= age <= rules.fill_latest


def _fill_start(
    problem: Problem, stages: Mapping[str, Work], job: Job, starts: IntArray, ends: IntArray, masks: Masks
) -> None:
    rules, plaster, end = problem.rules, stages.get("plaster"), stages.get("fill_end")
    if plaster is not None:
        masks["cure"] &= starts - plaster.end >= value_at(_waits(job), plaster.start)
        masks["fill_window"] &= starts - plaster.end <= rules.fill_latest
    if end is not None:
        full = ends + job.fill_len
        masks["fill_window"] &= (full - rules.fill_end_early <= end.start) & (end.start <= full + rules.fill_end_late)
        masks["predecessor"] &= end.start >= ends


def _fill_end(problem: Problem, stages: Mapping[str, Work], job: Job, starts: IntArray, masks: Masks) -> None:
    rules, begun = problem.rules, stages.get("fill_start")
    if begun is not None:
        full = begun.end + job.fill_len
        masks["fill_window"] &= (full - rules.fill_end_early <= starts) & (starts <= full + rules.fill_end_late)
        masks["predecessor"] &= starts >= begun.end
    for visit in rules.startup:
        there = stages.get(visit.stage)
        if there is not None:
            masks["fill_window"] &= np.abs(there.start // DAY - starts // DAY - visit.day) <= visit.tol
