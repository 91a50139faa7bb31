"""What a disturbance does to a plan in force: `python -m tests.benchmarks.replan`.

A plan of 60 or 120 jobs has been in force for ten days.  Then three days of weather are lost, a crew is absent for
a week, or an urgent job comes in.  Beside the new plan stands the plan mended greedily (`greedy.repair`).  `hit` are
the jobs whose stints in force break a rule now, `moved` those with a stint that moves (or is given to another crew,
or dropped), the new job not counted.
"""

from __future__ import annotations

import argparse
import copy
import json
import os
import time
from collections.abc import Callable
from typing import Any

from scheduling.solver.check import check
from scheduling.solver.greedy import repair
from scheduling.solver.objective import Terms, moved_stints, terms
from scheduling.solver.plan import Plan, Stint
from scheduling.solver.problem import Problem
from scheduling.solver.solve import solve
from tests.benchmarks.instances import DAY, instance, under_way

TODAY = 10
SEED = 1
Change = Callable[[dict[str, Any]], None]


def lost_days(document: dict[str, Any]) -> None:
    """Nobody coats or plasters today, tomorrow and the day after."""
    lost = range(TODAY, TODAY + 3)
    for job in document["jobs"]:
        for field in ("bond_days", "plaster_days"):
            job[field] = [row for row in job[field] if row[0] not in lost]


def absent_crew(document: dict[str, Any]) -> None:
    """The prep crew with the most stints ahead is absent for a week."""
    ahead = [row["crew"] for row in document["current"] if row["stage"] == "prep"]
    absent = max(sorted(set(ahead)), key=ahead.count)
    for crew in document["crews"]:
        if crew["id"] == absent:
            crew["shifts"] = [shift for shift in crew["shifts"] if not TODAY <= shift[0] // DAY < TODAY + 7]


def urgent_job(document: dict[str, Any]) -> None:
    """A heavy job comes in that was promised for three weeks from now."""
    planned = {row["job"] for row in document["current"] if row["stage"] == "plaster"}
    jobs = [job for job in document["jobs"] if job["id"] in planned]
    model = max(jobs, key=lambda job: (len(job["plaster_days"]), job["id"]))
    new = copy.deepcopy(model) | {"id": "NEW", "earliest": DAY * TODAY, "promise_day": TODAY + 21, "weight": 5}
    document["jobs"].append(new | {"fixed": []})


DISTURBANCES: dict[str, Change] = {
    "3 days of weather lost": lost_days,
    "a prep crew absent for a week": absent_crew,
    "a new urgent job": urgent_job,
}


def in_force(jobs: int, seconds: float, workers: int) -> dict[str, Any]:
    """A problem under way with a good plan in force."""
    document = instance(jobs, 1)
    document["rules"]["second_bond"] = True
    plan = solve(Problem.from_json(document), seconds, workers, SEED)
    return under_way(document, plan, TODAY)


def measured(name: str, document: dict[str, Any], seconds: float, workers: int) -> dict[str, Any]:
    """One row of the table."""
    problem = Problem.from_json(document)
    now = Plan(tuple(Stint(row.job, row.stage, row.crew, row.start) for row in problem.current))
    placed = {(stint.job, stint.stage) for stint in now.stints}
    hit = {row["job"] for row in check(problem, now) if (row["job"], row["stage"]) in placed}
    began = time.perf_counter()
    mended = repair(problem)
    repair_s = time.perf_counter() - began
    began = time.perf_counter()
    plan = solve(problem, seconds, workers, SEED)
    took = time.perf_counter() - began
    assert check(problem, plan) == [] and check(problem, mended) == []
    return {
        "name": name,
        "jobs": len(problem.jobs),
        "hit": len(hit),
        "plan": _parts(problem, plan, terms(problem, plan), took),
        "repair": _parts(problem, mended, terms(problem, mended), repair_s),
        "bound": plan.bound,
        "load": round(os.getloadavg()[0], 1),
    }


def _parts(problem: Problem, plan: Plan, parts: Terms, seconds: float) -> dict[str, Any]:
    return {
        "objective": parts.objective,
        "late": parts.late,
        "fill": parts.fill,
        "travel": parts.travel,
        "unplanned": len(plan.unplanned),
        "moves": parts.moves,
        "stints_moved": parts.stints_moved,
        "jobs_moved": len({row.job for row in moved_stints(problem, plan)}),
        "seconds": round(seconds, 2),
    }


def main() -> None:
    """Print a table, or one JSON object as the last line."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.replan", description=__doc__)
    parser.add_argument("--json", action="store_true", help="one JSON object as the last line")
    parser.add_argument("--seconds", type=float, default=10.0, help="time for each new plan (default 10)")
    parser.add_argument("--workers", type=int, default=2, help="processes that search (default 2)")
    parser.add_argument("--jobs", type=int, nargs="*", default=[60, 120], help="sizes (default 60 120)")
    options = parser.parse_args()
    rows = []
    for jobs in options.jobs:
        before = in_force(jobs, 2 * options.seconds, options.workers)
        for name, change in DISTURBANCES.items():
            document = copy.deepcopy(before)
            change(document)
            rows.append(measured(name, document, options.seconds, options.workers))
            if not options.json:
                print(rows[-1], flush=True)
    if options.json:
        print(json.dumps({"disturbances": rows, "workers": options.workers, "seed": SEED}))


if __name__ == "__main__":
    main()
