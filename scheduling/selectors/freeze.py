"""Stints that begin within the freeze time stay where they are, unless a hard rule breaks (on the document)."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from typing import Any

from scheduling.solver.check import check
from scheduling.solver.collisions import fits_beside
from scheduling.solver.objective import work_of
from scheduling.solver.plan import Plan, Stint
from scheduling.solver.problem import Problem, ProblemError

Place = tuple[str, str]


def frozen(document: dict[str, Any], soon: Collection[Place]) -> tuple[dict[str, Any], frozenset[Place]]:
    """The document with the stints that begin *soon* fixed, and those of them that a hard rule lets move.

    A stint may move if it breaks a rule where it is, if a stage of its job before it does, has no time at all or is
    only held, or if its job would otherwise find no place.
    """
    if not soon:
        return document, frozenset()
    try:
        problem = Problem.from_json(document)
    except ProblemError:
        return document, frozenset()  # whoever asked will be told
    in_force = Plan(
        tuple(Stint(row.job, row.stage, row.crew, row.start) for row in problem.current),
        tuple(job.id for job in problem.jobs if all(row.job != job.id for row in problem.current)),
    )
    broken = {(row["job"], row["stage"]) for row in check(problem, in_force)}
    open_still = {(row.job, row.stage) for row in problem.current} - set(soon)
    freed = {place for place in soon if _undone(problem, place, broken | open_still)}
    fixed = _with_fixed(document, problem, in_force, set(soon) - freed)
    lost = _without_place(fixed, broken, set(soon) - freed)
    if lost:
        freed |= {place for place in soon if place[0] in lost}
        fixed = _with_fixed(document, problem, in_force, set(soon) - freed)
    return fixed, frozenset(freed)


def _undone(problem: Problem, place: Place, broken: set[Place]) -> bool:
    """The stint, or a stage of its job before it, cannot be as it is."""
    job, stage = place
    until = problem.stages[: problem.stages.index(stage) + 1] if stage in problem.stages else ()
    coat = ("bond", "bond_again") if stage == "plaster" else ()
    return any((job, name) in broken for name in (*until, *coat))


def _with_fixed(document: dict[str, Any], problem: Problem, in_force: Plan, places: set[Place]) -> dict[str, Any]:
    if not places:
        return document
    rows: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for work in work_of(problem, in_force):
        if not work.fixed and (work.job.id, work.stage) in places:
            row = {"stage": work.stage, "crew": work.crew.id, "start": work.start, "end": work.end}
            rows[work.job.id].append(row)
    return {
        **document,
        "jobs": [{**job, "fixed": [*job["fixed"], *rows.get(job["id"], ())]} for job in document["jobs"]],
        "current": [row for row in document["current"] if (row["job"], row["stage"]) not in places],
    }


def _without_place(document: dict[str, Any], broken: set[Place], places: set[Place]) -> set[str]:
    """Jobs that break a rule later on and would find no place with these stints fixed."""
    asked = {job for job, _ in broken} & {job for job, _ in places}
    if not asked:
        return set()
    problem = Problem.from_json(document)
    stints = tuple(Stint(r.job, r.stage, r.crew, r.start) for r in problem.current if (r.job, r.stage) not in broken)
    return {job for job in asked if not fits_beside(problem, Plan(stints), job)}
