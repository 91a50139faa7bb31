"""The least main part of a small problem, proven: no plan at the bound, or a little above it, and so on upwards.

A limit close above the bound leaves each job few days (`bound_windows`), and the constraint program decides quickly
whether a plan keeps to it.  If none does, the bound rises and the next limit is eight times as far away.
"""

import time
from dataclasses import dataclass
from typing import Any

from ortools.sat.python import cp_model

from scheduling.solver.bound import BoundSearch, main_unit
from scheduling.solver.bound_windows import windows
from scheduling.solver.check import check
from scheduling.solver.cp_sat import StageModel
from scheduling.solver.plan import Plan, Stint

FARTHER = 8


@dataclass(frozen=True)
class Proof:
    """No plan's main part is below `bound`; `exact`: `plan` reaches it, or the known plan if that is None."""

    bound: int
    exact: bool
    plan: Plan | None = None


class Prover:
    """Proves how low the main part can be, with one thread, for a time or as much deterministic time."""

    def __init__(self, search: BoundSearch, seconds: float, seed: int, *, deterministic: bool) -> None:
        self.search, self.seed, self.deterministic = search, seed, deterministic
        self.left = seconds
        self.unit = main_unit(search.problem)

    def prove(self, known: int) -> Proof:
        """The proof, given the main part of a plan that is known."""
        least, step = self.search.bounds.main, 0
        while least < known and self.left > 0:
            limit = min(least + step * self.unit, known - self.unit)
            status, least, plan = self._decide(least, limit)
            if plan is not None:
                return Proof(least, exact=check(self.search.problem, plan) == [], plan=plan)
            if status != cp_model.INFEASIBLE:
                return Proof(least, exact=False)
            step = max(1, FARTHER * step)
        return Proof(min(least, known), exact=least >= known)

    def _decide(self, least: int, limit: int) -> tuple[Any, int, Plan | None]:
        """Whether plans have a main part from `least` to `limit`: status, the risen bound, and the best of them."""
        staged = StageModel(self.search, windows(self.search, limit))
        staged.model.add(staged.total >= least)
        staged.model.add(staged.total <= limit)
        staged.model.minimize(staged.total)
        solver, began = self._solver(), time.monotonic()
        status = solver.solve(staged.model)
        self.left -= solver.response_proto.deterministic_time if self.deterministic else time.monotonic() - began
        if status == cp_model.MODEL_INVALID:
            raise AssertionError(f"The proof is no valid model: {staged.model.validate()}")
        if status == cp_model.INFEASIBLE:
            return status, limit + self.unit, None
        least = max(least, -(-round(solver.best_objective_bound - 1e-6) // self.unit) * self.unit)
        return status, least, self._plan(staged, solver) if status == cp_model.OPTIMAL else None

    def _solver(self) -> cp_model.CpSolver:
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = self.seed
        if self.deterministic:
            solver.parameters.max_deterministic_time = max(self.left, 0.0)
        else:
            solver.parameters.max_time_in_seconds = max(self.left, 0.0)
        return solver

    def _plan(self, staged: StageModel, solver: cp_model.CpSolver) -> Plan:
        problem = self.search.problem
        stints = tuple(
            Stint(problem.jobs[stint.job].id, stint.stage, problem.crews[stint.crew].id, solver.value(stint.start))
            for stint in staged.stints
            if solver.boolean_value(stint.taken)
        )
        out = tuple(problem.jobs[job].id for job, literal in staged.out.items() if solver.boolean_value(literal))
        return Plan(stints, out)
