"""The main stage as a constraint program: prep, bond coat and plaster of all jobs, without travel and water crews.

Left out are rules, never plans: what it proves no whole plan can undercut.  Exact where it matters up to about
60 jobs; beyond that the Lagrangian bound is better.
"""

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from ortools.sat.python import cp_model

from scheduling.solver.bound_model import (
    AT,
    BASE,
    BOND_FROM,
    BOND_TO,
    DAY_ONE,
    DAY_TWO,
    DRESSED,
    DRY,
    FILL_FROM,
    FILL_TO,
    FIRST_FILL,
    FIRST_PLASTER,
    KIND,
    LAST_FILL,
    LAST_PLASTER,
    PLASTER_FROM,
    PLASTER_TO,
    SIMPLE,
    SPAN,
    Alone,
)
from scheduling.solver.facts import DAY
from scheduling.solver.problem import Problem
from scheduling.solver.tables import PATTERN, PREP_NEED, PREP_ROW, WORK_SLOT, WORKED, Tables


@dataclass(frozen=True)
class MainStage:
    """Result of the constraint program: a bound, and what it would do with each job (prep crew, start, plaster day)."""

    bound: int
    proven: bool
    preps: dict[int, tuple[int, int, int]]


class MainStageModel:
    """Variables and rules of the main stage."""

    def __init__(self, problem: Problem, table: Tables, lists: Alone, clique: Any, limits: Any) -> None:
        self.problem, self.table, self.lists = problem, table, lists
        self.clique, self.limits = clique, limits
        self.model = cp_model.CpModel()
        self.cost: list[Any] = []
        self.constant = 0
        self.on_crew: dict[int, list[Any]] = defaultdict(list)
        self.on_day: dict[int, list[Any]] = defaultdict(list)
        self.prep: dict[int, list[tuple[int, Any, Any]]] = {}
        for job in range(len(problem.jobs)):
            self.add_job(job)
        self.add_fixed()
        self.one_place_at_a_time()
        self.plaster_crews_of_a_day()
        self.model.minimize(sum(self.cost) + self.constant)

    def add_job(self, job: int) -> None:
        """One plaster day or none, a bond coat young enough for it, a prep before the bond coat."""
        facts = self.lists.job[job]
        out_cost = self._left_out(job)
        days = self._plaster_days(job)
        if facts[KIND] == SIMPLE or not days:
            self.constant += int(facts[BASE]) // 1000 if facts[KIND] == SIMPLE else out_cost
            return
        out = self.model.new_bool_var("")
        self.cost.append(out_cost * out)
        chosen = {}
        for day, (cost, covers) in days.items():
            if cost >= out_cost:
                continue
            chosen[day] = self.model.new_bool_var("")
            self.cost.append(cost * chosen[day])
            if covers:
                self.on_day[day].append(chosen[day])
        self.model.add_exactly_one([out, *chosen.values()])
        bond = self._add_bond(job, chosen, out)
        self._add_prep(job, bond, out)

    def _left_out(self, job: int) -> int:
        record, weights, days = self.problem.jobs[job], self.problem.weights, self.problem.horizon_days
        late = 0 if record.promise_day is None else max(0, days - record.promise_day)
        return weights.unplanned + weights.fill_day * days + weights.late_day * record.weight * late

    def _fill_cost(self, job: int, day: int) -> int:
        record, weights = self.problem.jobs[job], self.problem.weights
        late = 0 if record.promise_day is None else max(0, day - record.promise_day)
        return weights.fill_day * day + weights.late_day * record.weight * late

    def _plaster_days(self, job: int) -> dict[int, tuple[int, bool]]:
        """Least cost after each plaster day, and whether every stint of that day covers the day's clique slot."""
        facts = self.lists.job[job]
        fills = self.lists.fill[facts[FILL_FROM] : facts[FILL_TO]]
        found: dict[int, tuple[int, bool]] = {}
        if not len(fills):
            return found
        one = np.array([self._fill_cost(job, int(day)) for day in fills[:, DAY_ONE]])
        two = np.array([self._fill_cost(job, int(day)) if day >= 0 else 1 << 60 for day in fills[:, DAY_TWO]])
        best = np.minimum(one, two)
        for row in self.lists.plaster[facts[PLASTER_FROM] : facts[PLASTER_TO]]:
            first = np.searchsorted(fills[:, AT], row[FIRST_FILL])
            last = np.searchsorted(fills[:, AT], row[LAST_FILL], side="right")
            if first >= last:
                continue
            day, slot = int(row[AT]) // DAY, int(row[AT])
            covers = slot <= self.clique[day] < slot + int(row[SPAN])
            before = found.get(day, (1 << 60, True))
            found[day] = min(before[0], int(best[first:last].min())), before[1] and covers
        return found

    def _add_bond(self, job: int, chosen: dict[int, Any], out: Any) -> Any:
        """Start of the bond coat; it takes a prep crew's time, and fits the plaster day."""
        facts = self.lists.job[job]
        plasters = self.lists.plaster[facts[PLASTER_FROM] : facts[PLASTER_TO]]
        fits: dict[int, list[int]] = {day: [] for day in chosen}
        for row in self.lists.bond[facts[BOND_FROM] : facts[BOND_TO]]:
            if row[AT] < facts[DRESSED]:
                continue
            young = (plasters[:, AT] >= row[FIRST_PLASTER]) & (plasters[:, AT] <= row[LAST_PLASTER])
            for day in {int(slot) // DAY for slot in plasters[young][:, AT]} & chosen.keys():
                fits[day].append(int(row[AT]))
        start = self.model.new_int_var(0, self.problem.end, "")
        for day, literal in chosen.items():
            if fits[day]:
                self.model.add_linear_expression_in_domain(
                    start, cp_model.Domain.from_values(fits[day])
                ).only_enforce_if(literal)
            else:
                self.model.add(literal == 0)
        length = self.problem.jobs[job].bond_len
        crews = []
        for crew in self._prep_crews():
            slots = [
                slot
                for slots in fits.values()
                for slot in slots
                if self.table.shift_starts[crew, slot // DAY, length] >> (slot % DAY) & 1
            ]
            if slots:
                literal = self.model.new_bool_var("")
                crews.append(literal)
                self.model.add_linear_expression_in_domain(start, cp_model.Domain.from_values(slots)).only_enforce_if(
                    literal
                )
                self.on_crew[crew].append(self.model.new_optional_fixed_size_interval_var(start, length, literal, ""))
        self.model.add_exactly_one([out, *crews])
        return start

    def _prep_crews(self) -> list[int]:
        return [crew for crew in range(len(self.problem.crews)) if self.table.crew[crew, PREP_ROW] >= 0]

    def _add_prep(self, job: int, bond: Any, out: Any) -> None:
        """A prep by one crew, from a working slot to its last one, before the bond coat."""
        if any(stage.stage == "prep" for stage in self.problem.jobs[job].fixed):
            self.model.add(bond >= int(self.lists.job[job, DRY])).only_enforce_if(~out)
            return
        start, end = (self.model.new_int_var(0, self.problem.end, "") for _ in range(2))
        self.model.add(bond >= end).only_enforce_if(~out)
        self.prep[job] = []
        taken = []
        for crew in self._prep_crews():
            runs = self._runs(job, crew)
            if not runs:
                continue
            literal = self.model.new_bool_var("")
            taken.append(literal)
            choices = []
            for first, last, span in runs:
                choice = self.model.new_bool_var("")
                choices.append(choice)
                self.model.add_linear_constraint(start, first, last).only_enforce_if(choice)
                self.model.add(end == start + span).only_enforce_if(choice)
            self.model.add(sum(choices) == literal)
            size = self.model.new_int_var(min(span for *_, span in runs), max(span for *_, span in runs), "")
            self.on_crew[crew].append(self.model.new_optional_interval_var(start, size, end, literal, ""))
            self.prep[job].append((crew, literal, start))
        self.model.add_exactly_one([out, *taken])

    def _runs(self, job: int, crew: int) -> list[tuple[int, int, int]]:
        """Runs (first start, last start, end - start) of preps with the same length in time."""
        table, row = self.table, self.table.crew[crew, PREP_ROW]
        column, need = table.job[job, PATTERN], table.base[PREP_NEED, crew, job]
        dry = max(int(self.lists.job[job, DRY]), 0)
        count = int(table.work[WORKED, row, column, self.problem.end])
        slots = table.work[WORK_SLOT, row, column, int(table.work[WORKED, row, column, dry]) : count]
        if len(slots) < need:
            return []
        starts, ends = slots[: len(slots) - need + 1], slots[need - 1 :] + 1
        breaks = np.flatnonzero((np.diff(starts) != 1) | (np.diff(ends - starts) != 0)) + 1
        edges = [0, *(int(at) for at in breaks), len(starts)]
        return [(int(starts[a]), int(starts[b - 1]), int(ends[a] - starts[a])) for a, b in pairwise(edges)]

    def add_fixed(self) -> None:
        """Fixed stints of prep crews take their time, where they do not overlap each other."""
        index = {crew.id: at for at, crew in enumerate(self.problem.crews)}
        spans: dict[int, list[tuple[int, int]]] = defaultdict(list)
        for job in self.problem.jobs:
            for stage in job.fixed:
                spans[index[stage.crew]].append((max(stage.start, 0), stage.end))
        for crew, mine in spans.items():
            free_from = 0
            for start, end in sorted(mine):
                if end > max(start, free_from):
                    start = max(start, free_from)
                    self.on_crew[crew].append(self.model.new_fixed_size_interval_var(start, end - start, ""))
                    free_from = end

    def one_place_at_a_time(self) -> None:
        """No crew does two things at once."""
        for intervals in self.on_crew.values():
            self.model.add_no_overlap(intervals)

    def plaster_crews_of_a_day(self) -> None:
        """No more plaster stints on a day than crews on duty; a crew that also preps is then not free to prep."""
        for day, literals in self.on_day.items():
            self.model.add(sum(literals) <= int(self.limits[day]))

    def solve(
        self, seconds: float, workers: int, seed: int, *, deterministic: bool, stop: Callable[[], bool]
    ) -> MainStage:
        """Solve for a time (or for as much deterministic time)."""
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = workers
        solver.parameters.random_seed = seed
        if deterministic:
            solver.parameters.max_deterministic_time = seconds
        else:
            solver.parameters.max_time_in_seconds = seconds
        status = solver.solve(self.model)
        if status == cp_model.MODEL_INVALID:
            raise AssertionError(f"The main stage is no valid model: {self.model.validate()}")
        preps = {}
        if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            for job, crews in self.prep.items():
                for crew, literal, start in crews:
                    if solver.boolean_value(literal):
                        preps[job] = crew, solver.value(start), 0
        bound = solver.best_objective_bound
        return MainStage(int(np.ceil(bound - 1e-6)), status == cp_model.OPTIMAL, preps)
