"""How good the plans are, how much of that is proven, and how long they take: `python -m tests.benchmarks.planner`.

The public problems and invented ones of other kinds (`instances`).  `gap` is the share of the objective that a
better plan could save at most, `main_gap` the same without travel (late days, fill days, jobs left out; `main_exact`
if a plan is known that reaches the bound, though perhaps a dearer one for its travel), and
`excess_gap` the share of what the plan costs above the least that each job would cost alone in the world, because
absolute days contain a large constant that flatters.  `peer` is a general job-shop library (`peer`) beside our
planner on the part of the problem that it can express.  `growth` is the cost of a job by size.  `cpu_seconds` is
the processor time of each searching process: on a busy machine less than `seconds`, and what the plan's quality
hangs on.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import time
from typing import Any

from scheduling.solver.bound import trivial_bound
from scheduling.solver.check import check
from scheduling.solver.greedy import greedy
from scheduling.solver.objective import terms
from scheduling.solver.problem import Problem
from scheduling.solver.solve import solve
from tests.benchmarks.instances import instance
from tests.benchmarks.peer import peer_objective, plain
from tests.solver import public

GENERATED = (
    (10, 3, "few crews"),
    (10, 5, "lost weeks"),
    (30, 2, "tight spring"),
    (60, 2, "long roads"),
    (60, 3, "few crews"),
    (60, 6, "more rules"),
    (120, 4, "many zones"),
    (120, 2, "lost weeks"),
    (200, 1, "usual"),
    (300, 1, "wet spring"),
)
SHORT_S, LONG_S, LONG_JOBS = 30.0, 60.0, 100
PEER_JOBS, PEER_S = 30, 20.0
SEED = 1


def instances() -> dict[str, dict[str, Any]]:
    """All problem documents by name."""
    found = {name: public.problem(name) for name in public.NAMES}
    return found | {f"{kind} {jobs}": instance(jobs, seed, kind) for jobs, seed, kind in GENERATED}


def measured(name: str, document: dict[str, Any], share: float, workers: int, peer: bool) -> dict[str, Any]:
    """One row of the table; `share` of the usual time."""
    problem = Problem.from_json(document)
    seconds = share * (SHORT_S if len(problem.jobs) < LONG_JOBS else LONG_S)
    began = time.perf_counter()
    first = greedy(problem)
    greedy_s = time.perf_counter() - began
    told: list[dict[str, Any]] = []
    began, cpu = time.perf_counter(), _children_s()
    plan = solve(problem, seconds, workers, SEED, on_progress=told.append)
    took, cpu = time.perf_counter() - began, _children_s() - cpu
    assert check(problem, plan) == [] and plan.objective is not None and plan.bound is not None
    parts, alone = terms(problem, plan), trivial_bound(problem)
    main_bound = told[-1]["main_bound"]
    return {
        "name": name,
        "jobs": len(problem.jobs),
        "crews": len(problem.crews),
        "seconds": round(took, 1),
        "cpu_seconds": round(cpu / workers, 1),
        "objective": plan.objective,
        "bound": plan.bound,
        "gap": _share(plan.objective - plan.bound, plan.objective),
        "main": parts.main,
        "main_bound": main_bound,
        "main_gap": _share(parts.main - main_bound, parts.main),
        "main_exact": told[-1]["main_exact"],
        "travel": parts.travel,
        "late": parts.late,
        "unplanned": len(plan.unplanned),
        "trivial_bound": alone,
        "excess_gap": _share(parts.main - main_bound, parts.main - alone),
        "greedy": terms(problem, first).objective,
        "greedy_unplanned": len(first.unplanned),
        "greedy_seconds": round(greedy_s, 2),
        "peer": peer_row(document, share, workers) if peer and len(problem.jobs) <= PEER_JOBS else None,
        "load": round(os.getloadavg()[0], 1),
    }


def _children_s() -> float:
    """Processor time that the processes of the searches have taken so far [s]."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def peer_row(document: dict[str, Any], share: float, workers: int) -> dict[str, Any]:
    """Both planners on the plain part of a problem, for the same time."""
    part = plain(document)
    ours = solve(Problem.from_json(part), share * PEER_S, workers, SEED)
    theirs = peer_objective(part, share * PEER_S, workers)
    return {"seconds": share * PEER_S, "objective": theirs, "ours": ours.objective}


def growth(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Milliseconds of the first plan a job, and what the best plan saves of it, by size."""
    return [
        {
            "jobs": row["jobs"],
            "greedy_ms_per_job": round(1000 * row["greedy_seconds"] / row["jobs"], 2),
            "seconds_per_job": round(row["seconds"] / row["jobs"], 3),
            "saved": _share(row["greedy"] - row["objective"], row["greedy"]),
        }
        for row in sorted(rows, key=lambda row: int(row["jobs"]))
    ]


def _share(part: int, whole: int) -> float:
    return round(part / whole, 4) if whole else 0.0


def main() -> None:
    """Print a table, or one JSON object as the last line."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.planner", description=__doc__)
    parser.add_argument("--json", action="store_true", help="one JSON object as the last line")
    parser.add_argument("--share", type=float, default=1.0, help="share of the usual time (30 s; 60 s from 100 jobs)")
    parser.add_argument("--workers", type=int, default=2, help="processes that search (default 2)")
    parser.add_argument("--no-peer", action="store_true", help="leave the job-shop library out")
    parser.add_argument("--only", nargs="*", help="names of problems")
    options = parser.parse_args()
    solve(Problem.from_json(instance(3, 1)), 300, iterations=24)  # compiles; figures are of a warm cache
    rows = []
    for name, document in instances().items():
        if not options.only or name in options.only:
            rows.append(measured(name, document, options.share, options.workers, not options.no_peer))
            if not options.json:
                print({key: value for key, value in rows[-1].items() if key not in ("seconds", "crews")}, flush=True)
    if options.json:
        print(json.dumps({"instances": rows, "growth": growth(rows), "workers": options.workers, "seed": SEED}))


if __name__ == "__main__":
    main()
