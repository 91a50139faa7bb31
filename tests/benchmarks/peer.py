"""A general job-shop library on the part of a planning problem that it can express.

It knows crews with shifts, stages in order, least and greatest waits and one window a stage, but no weather of
single days, roads, start-ups counted in days, pumps held over several stages or jobs left out.  So both planners get
the same plain problem: every day dry, every site at one place, no start-ups, pumps and rigs for everybody; and the
answer is counted by our own rules.
"""

from __future__ import annotations

import copy
from itertools import pairwise
from typing import Any

from pyjobshop import Model

from scheduling.solver.check import check
from scheduling.solver.objective import terms
from scheduling.solver.plan import Plan, Stint
from scheduling.solver.problem import DAY, Problem, prep_slots

STAGES = ("drain_setup", "drain_pull", "prep", "bond", "plaster", "fill_start", "fill_end")
CURE, WAIT, PLASTER_LEN = 24, 20, 14


def plain(document: dict[str, Any]) -> dict[str, Any]:
    """The part of a problem that both can express."""
    made = copy.deepcopy(document)
    days = range(made["horizon_days"])
    made["rules"] |= {"startup": [], "second_bond": False}
    made["pumps"] = made["rigs"] = len(made["jobs"])
    made["current"] = []
    for crew in made["crews"]:
        crew["base"] = [0, 0]
    for job in made["jobs"]:
        job |= {"site": [0, 0], "quiet": [], "weight": 1, "fixed": []}
        job["bond_days"] = [[day, DAY * day, DAY * day + 47, CURE] for day in days]
        job["plaster_days"] = [[day, DAY * day, DAY * day + 47, PLASTER_LEN, WAIT] for day in days]
        for field in ("fill_days", "blocked"):
            job.pop(field, None)
    return made


def peer_plan(document: dict[str, Any], seconds: float, workers: int) -> Plan | None:
    """The library's plan of a plain problem, or None if it found none in time."""
    problem = Problem.from_json(document)
    model = Model()
    crews = {crew.id: model.add_machine(breaks=_nights(problem, crew.shifts)) for crew in problem.crews}
    rules = problem.rules
    modes: list[tuple[int, str]] = []
    for job in problem.jobs:
        due = DAY * (problem.horizon_days if job.promise_day is None else job.promise_day + 1)
        record = model.add_job(due_date=due)
        tasks = {}
        for stage in STAGES:
            prep = stage == "prep"
            tasks[stage] = model.add_task(
                record, earliest_start=max(job.earliest, problem.now), latest_end=problem.end, allow_breaks=prep
            )
            length = PLASTER_LEN if stage == "plaster" else getattr(job, f"{stage}_len", 0)
            for crew in problem.crews:
                if problem.skill(stage) in crew.skills:
                    model.add_mode(tasks[stage], crews[crew.id], prep_slots(job, crew) if prep else length)
                    modes.append((len(tasks), crew.id))
        waits = {"drain_pull": job.pump_len, "plaster": CURE, "fill_start": WAIT}
        waits["fill_end"] = max(0, job.fill_len - rules.fill_end_early)
        for before, after in pairwise(STAGES):
            model.add_end_before_start(tasks[before], tasks[after], delay=waits.get(after, 0))
        latest = {("bond", "plaster"): rules.recoat_max, ("plaster", "fill_start"): rules.fill_latest}
        latest["fill_start", "fill_end"] = job.fill_len + rules.fill_end_late
        for (before, after), most in latest.items():
            model.add_start_before_end(tasks[after], tasks[before], delay=-most)
    model.set_objective(
        weight_total_flow_time=problem.weights.fill_day, weight_total_tardiness=problem.weights.late_day
    )
    result = model.solve(time_limit=seconds, display=False, num_workers=workers)
    if not str(result.status).lower().endswith(("optimal", "feasible")) or "infeasible" in str(result.status).lower():
        return None
    stints = []
    for number, task in enumerate(result.best.tasks):
        job_at, stage_at = divmod(number, len(STAGES))
        stints.append(Stint(problem.jobs[job_at].id, STAGES[stage_at], modes[task.mode][1], task.start))
    return Plan(tuple(stints))


def _nights(problem: Problem, shifts: tuple[tuple[int, int], ...]) -> list[tuple[int, int]]:
    edges = [0, *(slot for shift in shifts for slot in shift), problem.end]
    return [(first, last) for first, last in zip(edges[::2], edges[1::2], strict=True) if first < last]


def peer_objective(document: dict[str, Any], seconds: float, workers: int) -> int | None:
    """What the library's plan of a plain problem costs; None without one, or if it breaks a rule."""
    plan = peer_plan(document, seconds, workers)
    problem = Problem.from_json(document)
    if plan is None or check(problem, plan):
        return None
    return terms(problem, plan).objective
