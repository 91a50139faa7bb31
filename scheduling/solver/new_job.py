"""A new job among those in force: as soon as it goes without moving another, or with others giving way."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from scheduling.solver.alternatives import Pushed, pushed
from scheduling.solver.check import check
from scheduling.solver.greedy import urgency
from scheduling.solver.objective import Work, fill_days, terms, work_of
from scheduling.solver.office import Office
from scheduling.solver.plan import Plan, Stint
from scheduling.solver.problem import Job, Problem

MOST_TRIED: Final = 5


@dataclass(frozen=True)
class Insertion:
    """A plan with the job in it: its fill day, what it costs the others, and which of their stints move.

    `cost` is the change of the objective that is not the job's own: later fills, missed promises and moves of
    others, and the way.
    """

    fill_day: int
    cost: int
    change: int
    plan: Plan
    pushed: tuple[Pushed, ...]


def insertions(problem: Problem, plan: Plan, job: str, most: int = 3) -> tuple[Insertion | None, list[Insertion]]:
    """Without moving anybody, and the best ways with others giving way, of which each makes the pool full sooner.

    Parameters
    ----------
    problem, plan
        What is in force; stints of the job that are not fixed are planned anew.
    job
        The job to insert.
    most
        Ways with others giving way, the cheapest whole first.
    """
    record = problem.job_of[job]
    others = Plan(tuple(s for s in plan.stints if s.job != job), tuple({*plan.unplanned, job}))
    known = {(row["rule"], row["job"], row["stage"]) for row in check(problem, others)}
    base = terms(problem, others).objective
    gentle = beside(problem, plan, job)
    free = _insertion(problem, others, gentle, job, base, known)
    found: dict[int, Insertion] = {}
    for tried in _giving_way(problem, others, record):
        one = _insertion(problem, others, tried, job, base, known)
        sooner = one is not None and (free is None or one.fill_day < free.fill_day)
        if one is not None and sooner and (one.fill_day not in found or one.change < found[one.fill_day].change):
            found[one.fill_day] = one
    return free, sorted(found.values(), key=lambda one: (one.change, one.fill_day))[:most]


def beside(problem: Problem, plan: Plan, job: str) -> Plan | None:
    """The plan with a job placed anew while everybody else stays; None if there is no room."""
    others = Plan(tuple(s for s in plan.stints if s.job != job), tuple({*plan.unplanned, job}))
    office = Office(problem, others)
    return office.plan() if office.plan_job(problem.job_of[job]) else None


def _giving_way(problem: Problem, others: Plan, job: Job) -> Iterator[Plan]:
    """The job first, on its first plaster day and on later ones; then whoever is in its way, by promise."""
    alone, crowd = Office(problem), Office(problem, others)
    known = {(row["rule"], row["job"], row["stage"]) for row in check(problem, others)}
    after = -1
    for _ in range(MOST_TRIED):
        wanted = replace(job, plaster_days=tuple(row for row in job.plaster_days if row.day > after))
        alone.lift(wanted)
        if not alone.plan_job(wanted):
            return
        mine = [work for work in alone.works[job.id].values() if not work.fixed]
        tried = _others_after(problem, others, job, mine, crowd, known)
        if tried is not None:
            yield tried
        plaster = next((work.start for work in mine if work.stage == "plaster"), None)
        if plaster is None:
            return
        after = next(row.day for row in wanted.plaster_days if row.first <= plaster <= row.last)


def _others_after(
    problem: Problem,
    others: Plan,
    job: Job,
    mine: list[Work],
    crowd: Office,
    known: set[tuple[str, str, str]],
) -> Plan | None:
    """Jobs that break a rule beside the new one are planned anew after it, until none does."""
    gone: set[str] = set()
    left = tuple(name for name in others.unplanned if name != job.id)
    new = tuple(Stint(job.id, work.stage, work.crew.id, work.start) for work in mine)
    for _ in range(len(problem.jobs)):
        kept = tuple(stint for stint in others.stints if stint.job not in gone)
        union = Plan((*kept, *new), (*left, *gone))
        broken = [row for row in check(problem, union) if (row["rule"], row["job"], row["stage"]) not in known]
        if not broken:
            break
        works = work_of(problem, union)
        hit = {name for row in broken for name in _partners(works, row["job"], row["stage"], row["rule"])}
        fresh = hit - gone - {job.id}
        if not fresh:
            return None
        gone |= fresh
    lifted = {name: crowd.lift(problem.job_of[name]) for name in gone}
    crowd.lay(job, mine)
    for name in sorted(gone, key=lambda one: urgency(problem, problem.job_of[one])):
        crowd.plan_job(problem.job_of[name])
    made = crowd.plan()
    for name in (job.id, *gone):
        crowd.lift(problem.job_of[name])
    for name, works in lifted.items():
        crowd.lay(problem.job_of[name], works)
    return made


def _partners(works: list[Work], job: str, stage: str, rule: str) -> set[str]:
    """The job that breaks a rule, and those that share its crew, pump or rig at the time."""
    mine = next((work for work in works if (work.job.id, work.stage) == (job, stage)), None)
    if mine is None:
        return {job}
    found = {job}
    for work in works:
        if work.fixed or work.job.id == job:
            continue
        near = work.start < mine.end + 4 and mine.start < work.end + 4
        same = work.crew.id == mine.crew.id if rule in ("crew", "travel") else work.stage == mine.stage
        if near and same and rule in ("crew", "travel", "rig"):
            found.add(work.job.id)
        if rule == "pump" and work.stage == "drain_setup":
            pull = next((w for w in works if (w.job.id, w.stage) == (work.job.id, "drain_pull")), work)
            if work.start < mine.end + mine.job.pump_len + 8 and mine.start < pull.end:
                found.add(work.job.id)
    return found


def _insertion(
    problem: Problem, others: Plan, made: Plan | None, job: str, base: int, known: set[tuple[str, str, str]]
) -> Insertion | None:
    if made is None or job in made.unplanned or len(made.unplanned) >= len(others.unplanned):
        return None
    if any((row["rule"], row["job"], row["stage"]) not in known for row in check(problem, made)):
        return None
    after = terms(problem, made)
    day = fill_days(work_of(problem, made))[job]
    moved = tuple(row for row in pushed(others, made, ("", "")) if row.job != job)
    record, weights = problem.job_of[job], problem.weights
    late = 0 if record.promise_day is None else max(0, day - record.promise_day) * record.weight
    out = 0 if record.promise_day is None else max(0, problem.horizon_days - record.promise_day) * record.weight
    own = weights.fill_day * day + weights.late_day * late
    left_out = weights.unplanned + weights.fill_day * problem.horizon_days + weights.late_day * out
    change = after.objective - base
    return Insertion(day, change - own + left_out, change, made, moved)
