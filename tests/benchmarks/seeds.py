"""How much plans differ from seed to seed, by processor time: `python -m tests.benchmarks.seeds 120 --seeds 1 2 3`.

The searches that `solve` runs side by side take turns here in one process, and each gets so many seconds of
processor time, so that a busy machine finds what a quiet one would.  Names are those of the public problems (`120`)
or `JOBS/SEED/KIND` of invented ones (`60/3/few crews`).  `steps` are those of all searches together.
"""

from __future__ import annotations

import argparse
import json
import time
from statistics import median
from typing import Any

from scheduling.solver.bound import BoundSearch
from scheduling.solver.check import check
from scheduling.solver.greedy import greedy
from scheduling.solver.improve import Walker
from scheduling.solver.objective import terms
from scheduling.solver.problem import Problem
from scheduling.solver.solve import COLD, EXCHANGES, HOTS, MOST_OUT, ROUNDS
from scheduling.solver.spots import plan_of, spots_of
from tests.benchmarks.instances import instance
from tests.solver import public

CHUNK = 20
START_S = 0.8  # A worker process loads its libraries.


def problem_of(name: str) -> Problem:
    """A public problem, or an invented one."""
    if "/" in name:
        jobs, seed, kind = name.split("/")
        return Problem.from_json(instance(int(jobs), int(seed), kind))
    return Problem.from_json(public.problem(f"public-{name}"))


class Turns:
    """The searches of a portfolio, one after the other in every round."""

    def __init__(self, problem: Problem, seed: int, workers: int, seconds: float) -> None:
        began = time.process_time()
        self.problem = problem
        self.best = greedy(problem)
        self.cost = terms(problem, self.best).objective
        bound = BoundSearch(problem)
        self.walkers = [Walker(problem, 1000 * seed + at, bound) for at in range(workers)]
        self.taken = [time.process_time() - began + START_S] * workers
        self.seconds = seconds
        self.steps = 0

    def run(self) -> None:
        """All rounds."""
        first = self.taken[0]
        for at in range(ROUNDS):
            begin, end = at / ROUNDS, (at + 1) / ROUNDS
            if at in EXCHANGES:
                self._hand_round(everyone=at == 0)
            for number, walker in enumerate(self.walkers):
                hot = HOTS[number % len(HOTS)]
                until = first + (self.seconds - first) * end
                self._walk(number, walker, hot * (COLD / hot) ** begin, hot * (COLD / hot) ** end, until)
            walker = min(self.walkers, key=lambda walker: walker.cost)
            plan = plan_of(self.problem, walker.spots())
            cost = terms(self.problem, plan).objective
            if cost < self.cost:
                self.best, self.cost = plan, cost

    def _hand_round(self, *, everyone: bool) -> None:
        for number, walker in enumerate(self.walkers):
            if everyone or walker.cost // 1000 > self.cost:
                began = time.process_time()
                walker.load(spots_of(self.problem, self.best))
                walker.fill_up()
                self.taken[number] += time.process_time() - began

    def _walk(self, number: int, walker: Walker, hot: float, cold: float, until: float) -> None:
        begin = self.taken[number]
        while self.taken[number] < until:
            began = time.process_time()
            share = (self.taken[number] - begin) / (until - begin)
            walker.walk(CHUNK, hot * (cold / hot) ** share, MOST_OUT)
            self.taken[number] += time.process_time() - began
            self.steps += CHUNK


def measured(name: str, seed: int, workers: int, seconds: float) -> dict[str, Any]:
    """One row."""
    turns = Turns(problem_of(name), seed, workers, seconds)
    turns.run()
    parts = terms(turns.problem, turns.best)
    assert check(turns.problem, turns.best) == []
    return {
        "name": name,
        "seed": seed,
        "objective": parts.objective,
        "late": parts.late,
        "fill": parts.fill,
        "travel": parts.travel,
        "unplanned": len(turns.best.unplanned),
        "steps": turns.steps,
    }


def main() -> None:
    """Print one JSON object a seed, and the spread of each problem."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.seeds", description=__doc__)
    parser.add_argument("names", nargs="+", help="public problems (120) or JOBS/SEED/KIND")
    parser.add_argument("--seeds", type=int, nargs="+", default=[1, 2, 3])
    parser.add_argument("--workers", type=int, default=2, help="searches that take turns (default 2)")
    parser.add_argument("--cpu-seconds", type=float, default=60.0, help="processor time of each search (default 60)")
    options = parser.parse_args()
    for name in options.names:
        rows = []
        for seed in options.seeds:
            rows.append(measured(name, seed, options.workers, options.cpu_seconds))
            print(json.dumps(rows[-1]), flush=True)
        costs = sorted(row["objective"] for row in rows)
        print(json.dumps({"name": name, "best": costs[0], "median": median(costs), "worst": costs[-1]}), flush=True)


if __name__ == "__main__":
    main()
