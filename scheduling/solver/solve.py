"""Solve a planning problem: a greedy plan at once, then better ones until the time is up."""

import math
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

from scheduling.solver.check import check
from scheduling.solver.greedy import greedy, repaired
from scheduling.solver.mended import Mended
from scheduling.solver.objective import terms
from scheduling.solver.plan import Plan
from scheduling.solver.portfolio import PROOF_JOBS, Kept, Portfolio, Round
from scheduling.solver.problem import Problem
from scheduling.solver.spots import plan_of, spots_of

__all__ = ["Progress", "repaired", "solve"]

Progress = Callable[[dict[str, Any]], None]
ROUNDS = 24
EXCHANGES = frozenset({0, 12, 18, 21, 23})
MOST_OUT = 5
HOTS, COLD = (300_000.0, 900_000.0), 400.0
PROOF_EFFORT = 20.0


def solve(
    problem: Problem,
    seconds: float,
    workers: int = 1,
    seed: int = 0,
    iterations: int | None = None,
    warm_start: Plan | None = None,
    on_progress: Progress | None = None,
    *,
    stop: Callable[[], bool] = lambda: False,
) -> Plan:
    """Return the best plan found, with its objective and a bound that no plan undercuts.

    With a plan in force the answer is in no part worse than that plan mended greedily: late days, jobs left out and
    fill days; more stints move only where that saves late days or jobs left out (`Mended.admits`).

    Parameters
    ----------
    problem
        What to plan.
    seconds
        Time for everything, the compilation of the inner loops included [s].
    workers
        Processes that search side by side, at least 1.
    seed
        Seed of all random numbers.
    iterations
        Steps of each worker instead of a time limit: then the same seed gives the same plan.
    warm_start
        A plan to begin with; what of it breaks a rule is planned anew.
    on_progress
        Called with {"seconds", "objective", "bound", "unplanned", "main", "main_bound",
        "main_exact"} at each better plan or bound; the main part is late days, fill days and jobs left out, without
        travel and moves; exact if a plan, though perhaps a dearer one for its travel, has no more than its bound.
    stop
        Asked now and then; once true the best plan so far is returned.
    """
    return _Run(problem, seconds, workers, seed, iterations, on_progress, stop).run(warm_start)


class _Run:
    """One run: the best plan and bound so far, and who is told of them."""

    def __init__(
        self,
        problem: Problem,
        seconds: float,
        workers: int,
        seed: int,
        iterations: int | None,
        on_progress: Progress | None,
        stop: Callable[[], bool],
    ) -> None:
        if workers < 1:
            raise ValueError(f"workers is {workers}, but must be at least 1.")
        if not 0 <= seconds < math.inf:
            raise ValueError(f"seconds is {seconds}, but must be a number that is not negative.")
        if iterations is not None and iterations < 0:
            raise ValueError(f"iterations is {iterations}, but must not be negative.")
        self.problem = problem
        self.workers, self.seed, self.iterations = workers, seed, iterations
        self.on_progress, self.stop = on_progress, stop
        self.begun = time.monotonic()
        self.deadline = self.begun + seconds
        self.best: Plan = Plan((), tuple(job.id for job in problem.jobs))
        self.cost = 0
        self.bound = 0
        self.main = 0
        self.main_bound = 0
        self.exact = False
        self.mended: Mended | None = None

    def run(self, warm_start: Plan | None) -> Plan:
        """Greedy, then rounds of the portfolio."""
        for plan in self._first(warm_start):
            self._offer(plan)
        if self.problem.jobs and self._time_left() > 0 and not self.stop():
            proof = self._proof_seconds()
            with Portfolio(self.problem, self.workers, self.seed, proof, self._kept()) as portfolio:
                self._rounds(portfolio)
        return replace(
            self.best, objective=self.cost, bound=self.bound, seconds=round(time.monotonic() - self.begun, 3)
        )

    def _time_left(self) -> float:
        return 1e9 if self.iterations is not None else self.deadline - time.monotonic()

    def _first(self, warm_start: Plan | None) -> Iterator[Plan]:
        """Plans to begin with."""
        if self.problem.current:
            self.mended = Mended(self.problem)
            yield self.mended.plan
        yield greedy(self.problem)
        if warm_start is not None:
            yield repaired(self.problem, warm_start)

    def _offer(self, plan: Plan) -> bool:
        """Take a plan if it is the first or cheaper; nothing that breaks a rule is ever taken."""
        found = terms(self.problem, plan)
        cost = found.objective
        if self.best.objective is not None and cost >= self.cost:
            return False
        if self.mended is not None and not self.mended.admits(plan, found):
            return False
        broken = check(self.problem, plan)
        if broken:
            raise AssertionError(f"The search returned a plan that breaks rules: {broken[:3]}")
        self.best, self.cost, self.main = replace(plan, objective=cost), cost, found.main
        self._tell()
        return True

    def _tell(self) -> None:
        if self.on_progress:
            self.on_progress(
                {
                    "seconds": round(time.monotonic() - self.begun, 3),
                    "objective": self.cost,
                    "bound": self.bound,
                    "unplanned": len(self.best.unplanned),
                    "main": self.main,
                    "main_bound": min(self.main_bound, self.main),
                    "main_exact": self.exact,
                }
            )

    def _rounds(self, portfolio: Portfolio) -> None:
        if not portfolio.ready(self._give_up):
            return
        self._take_bounds(portfolio)
        left, spots = self._time_left(), spots_of(self.problem, self.best)
        share, begun = 0.0, time.monotonic()
        for at in range(ROUNDS):
            end = (at + 1) / ROUNDS
            steps = None if self.iterations is None else self._steps(at)
            seconds = begun + left * end - time.monotonic()
            if self._give_up() or (steps is None and seconds <= 0) or steps == 0:
                break
            order = Round(steps, max(seconds, 0.0), self._warmth(share), self._warmth(end), MOST_OUT)
            found = portfolio.round(order, spots if at in EXCHANGES else None, self.cost, self._give_up)
            share = end
            if any(self._offer(plan_of(self.problem, plan)) for plan in found):
                spots = spots_of(self.problem, self.best)
            portfolio.look_for_proof(None)
            self._take_bounds(portfolio)
        if self.iterations is not None:
            portfolio.look_for_proof(self.stop)
            self._take_bounds(portfolio)

    def _kept(self) -> Kept | None:
        """What the first worker leaves where it is; nothing if a single worker had to find room for jobs left out."""
        if self.mended is None or (self.workers == 1 and self.mended.plan.unplanned):
            return None
        kept, mended = (spots_of(self.problem, plan) for plan in (self.mended.kept(), self.mended.plan))
        return Kept(kept, mended)

    def _proof_seconds(self) -> float | None:
        """Time for bounds that take longer (negative: deterministic time); None for none."""
        if self.iterations == 0 or (self.iterations is not None and len(self.problem.jobs) > PROOF_JOBS):
            return None
        return self._time_left() if self.iterations is None else -PROOF_EFFORT

    def _warmth(self, share: float) -> list[float]:
        """Temperature of each worker after a share of the run [thousandths of the objective's unit]."""
        hot = [HOTS[worker % len(HOTS)] for worker in range(self.workers)]
        return [float(warm * (COLD / warm) ** share) for warm in hot]

    def _steps(self, at: int) -> int:
        assert self.iterations is not None
        return self.iterations * (at + 1) // ROUNDS - self.iterations * at // ROUNDS

    def _give_up(self) -> bool:
        return self.stop() or self._time_left() <= 0

    def _take_bounds(self, portfolio: Portfolio) -> None:
        bound = min(max(portfolio.bounds), self.cost)
        if bound > self.bound or portfolio.bounds[0] > self.main_bound or portfolio.exact != self.exact:
            self.exact = portfolio.exact
            self.bound, self.main_bound = max(bound, self.bound), max(portfolio.bounds[0], self.main_bound)
            self._tell()
