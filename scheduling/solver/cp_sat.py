"""All stages of a small problem as a constraint program, for proof: roads are shortened, driving costs nothing.

Left out are rules, never plans: what it proves no plan can undercut.  It is worth its time up to about 15 jobs.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from ortools.sat.python import cp_model

from scheduling.solver.bound import days_apart
from scheduling.solver.bound_choices import fill_cost, left_out_cost
from scheduling.solver.bound_model import BASE, KIND, SIMPLE, Alone
from scheduling.solver.facts import DAY, Job
from scheduling.solver.problem import Problem, stint_len
from scheduling.solver.tables import PATTERN, PREP_NEED, PREP_ROW, WORK_SLOT, WORKED, Tables
from scheduling.solver.timeline import Timeline, each


@dataclass(frozen=True)
class Proof:
    """What was proven: no plan's main part is below `bound`; `exact` if that is the least there is."""

    bound: int
    exact: bool


class Prover:
    """The constraint program of one problem."""

    def __init__(self, problem: Problem, table: Tables, lists: Alone, possible: Any, need: Any) -> None:
        self.problem, self.table, self.lists = problem, table, lists
        self.possible, self.need = possible, need
        self.line = Timeline(problem)
        self.model = cp_model.CpModel()
        self.costs: list[Any] = []
        self.on_crew: dict[int, list[Any]] = defaultdict(list)
        self.pumps: list[Any] = []
        self.rigs: list[Any] = []
        for job in range(len(problem.jobs)):
            self.add_job(job)
        self.add_fixed()
        for intervals in self.on_crew.values():
            self.model.add_no_overlap(intervals)
        self.model.add_cumulative(self.pumps, [1] * len(self.pumps), problem.pumps)
        self.model.add_cumulative(self.rigs, [1] * len(self.rigs), problem.rigs)
        self.total = sum(self.costs)

    def add_job(self, job: int) -> None:
        """All stages of a job, or none."""
        facts = self.lists.job[job]
        if facts[KIND] == SIMPLE:
            self.costs.append(int(facts[BASE]) // 1000)
            return
        out = self.model.new_bool_var("")
        self.costs.append(left_out_cost(self.problem, job) * out)
        record = self.problem.jobs[job]
        dry = self._add_drain(job, record, out)
        dressed = self._add_prep(job, record, out, dry)
        bond = self._stint(job, "bond", out, self._bond_starts(record))
        self.model.add(bond >= dressed).only_enforce_if(~out)
        cured = self._after_rows(bond, out, [(r.first, r.last, record.bond_len + r.cure) for r in record.bond_days])
        plaster, set_hard, plaster_end = self._add_plaster(job, record, out)
        self.model.add(plaster >= cured).only_enforce_if(~out)
        self.model.add(plaster <= bond + record.bond_len + self.problem.rules.recoat_max).only_enforce_if(~out)
        self._add_fill(job, record, out, set_hard, plaster_end)

    def _var(self) -> Any:
        return self.model.new_int_var(0, 2 * self.problem.end, "")

    def _stint(self, job: int, stage: str, out: Any, starts: Iterable[int] | None = None) -> Any:
        """Start of a stint of fixed length by one crew with the skill."""
        length = stint_len(self.problem, self.problem.jobs[job], stage)
        allowed = set(starts) if starts is not None else None
        start, takers = self._var(), []
        for crew in self.line.skilled[self.problem.skill(stage)]:
            slots = [
                DAY * day + slot
                for day in range(self.problem.horizon_days)
                for slot in each(
                    self.line.site_starts(job, stage, day, length, 0, self.problem.end)
                    & self.line.shift_starts(crew, day, length)
                )
                if allowed is None or DAY * day + slot in allowed
            ]
            if not slots:
                continue
            taker = self.model.new_bool_var("")
            takers.append(taker)
            self.model.add_linear_expression_in_domain(start, cp_model.Domain.from_values(slots)).only_enforce_if(taker)
            whole = length + self._road_after(job, stage)
            self.on_crew[crew].append(self.model.new_optional_fixed_size_interval_var(start, whole, taker, ""))
        self.model.add_exactly_one([out, *takers])
        return start

    def _road_after(self, job: int, stage: str) -> int:
        """Least slots on the road after a stint; none if the crew may go on with a later stage at the same site."""
        record, road, rules = self.problem.jobs[job], int(self.need[job]), self.problem.rules
        if stage in ("bond", "bond_again"):
            wait = min((row.cure for row in record.bond_days), default=0)
        elif stage == "plaster":
            wait = min((row.wait for row in record.plaster_days), default=0)
        elif stage == "fill_start":
            wait = record.fill_len - rules.fill_end_early
        else:
            wait = 0 if stage in ("drain_setup", "drain_pull") or not days_apart(self.problem) else DAY
        return road if wait >= road else 0

    def _fixed(self, record: Job, stage: str) -> tuple[int, int] | None:
        return next(((fixed.start, fixed.end) for fixed in record.fixed if fixed.stage == stage), None)

    def _add_drain(self, job: int, record: Job, out: Any) -> Any:
        """End of the drain; a pump is held all along."""
        setup, pull = self._fixed(record, "drain_setup"), self._fixed(record, "drain_pull")
        if pull:
            return pull[1]
        first = setup[0] if setup else self._stint(job, "drain_setup", out)
        first_end = setup[1] if setup else first + record.drain_setup_len
        last = self._stint(job, "drain_pull", out)
        self.model.add(last >= first_end + record.pump_len).only_enforce_if(~out)
        held = self._var()
        self.pumps.append(
            self.model.new_optional_interval_var(
                max(first, 0) if isinstance(first, int) else first, held, last + record.drain_pull_len, ~out, ""
            )
        )
        return last + record.drain_pull_len

    def _add_prep(self, job: int, record: Job, out: Any, dry: Any) -> Any:
        """End of the prep, by one crew from a working slot to its last one."""
        fixed = self._fixed(record, "prep")
        if fixed:
            return fixed[1]
        start, end, takers = self._var(), self._var(), []
        self.model.add(start >= dry).only_enforce_if(~out)
        for crew in self.line.skilled["prep"]:
            runs = self._runs(job, crew)
            if not runs:
                continue
            taker = self.model.new_bool_var("")
            takers.append(taker)
            choices = []
            for first, last, span in runs:
                choice = self.model.new_bool_var("")
                choices.append(choice)
                self.model.add_linear_constraint(start, first, last).only_enforce_if(choice)
                self.model.add(end == start + span).only_enforce_if(choice)
            self.model.add(sum(choices) == taker)
            size = self.model.new_int_var(min(span for *_, span in runs), max(span for *_, span in runs), "")
            self.on_crew[crew].append(self.model.new_optional_interval_var(start, size, end, taker, ""))
        self.model.add_exactly_one([out, *takers])
        return end

    def _runs(self, job: int, crew: int) -> list[tuple[int, int, int]]:
        """Runs (first start, last start, end - start) of preps with the same length in time."""
        table, row = self.table, self.table.crew[crew, PREP_ROW]
        column, need = table.job[job, PATTERN], table.base[PREP_NEED, crew, job]
        low = max(self.problem.now, self.problem.jobs[job].earliest, 0)
        count = int(table.work[WORKED, row, column, self.problem.end])
        slots = table.work[WORK_SLOT, row, column, int(table.work[WORKED, row, column, low]) : count]
        if len(slots) < need:
            return []
        starts, ends = slots[: len(slots) - need + 1], slots[need - 1 :] + 1
        breaks = np.flatnonzero((np.diff(starts) != 1) | (np.diff(ends - starts) != 0)) + 1
        edges = [0, *(int(at) for at in breaks), len(starts)]
        return [(int(starts[a]), int(starts[b - 1]), int(ends[a] - starts[a])) for a, b in pairwise(edges)]

    def _bond_starts(self, record: Job) -> set[int]:
        return {slot for row in record.bond_days for slot in range(row.first, row.last + 1)}

    def _after_rows(self, start: Any, out: Any, rows: list[tuple[int, int, int]]) -> Any:
        """A variable equal to `start` plus what the row that holds it adds (the first row, where rows overlap)."""
        after, choices, taken = self._var(), [], set[int]()
        for first, last, add in rows:
            slots = [slot for slot in range(first, last + 1) if slot not in taken]
            taken.update(slots)
            if slots:
                choice = self.model.new_bool_var("")
                choices.append(choice)
                domain = cp_model.Domain.from_values(slots)
                self.model.add_linear_expression_in_domain(start, domain).only_enforce_if(choice)
                self.model.add(after == start + add).only_enforce_if(choice)
        self.model.add_exactly_one([out, *choices])
        return after

    def _add_plaster(self, job: int, record: Job, out: Any) -> tuple[Any, Any, Any]:
        """Start of the plaster, first start of the fill after it, and its end."""
        start, set_hard, end = self._var(), self._var(), self._var()
        choices, taken = [], set[int]()
        takers: dict[int, list[Any]] = defaultdict(list)
        for row in record.plaster_days:
            allowed = self.line.site_starts(job, "plaster", row.day, row.len, row.first, row.last)
            slots = [DAY * row.day + slot for slot in each(allowed) if DAY * row.day + slot not in taken]
            taken.update(range(row.first, row.last + 1))
            for crew in self.line.skilled["plaster"]:
                on_shift = self.line.shift_starts(crew, row.day, row.len)
                mine = [slot for slot in slots if on_shift >> (slot % DAY) & 1]
                if not mine or self.problem.crews[crew].people < row.people:
                    continue
                choice = self.model.new_bool_var("")
                choices.append(choice)
                domain = cp_model.Domain.from_values(mine)
                self.model.add_linear_expression_in_domain(start, domain).only_enforce_if(choice)
                self.model.add(end == start + row.len).only_enforce_if(choice)
                self.model.add(set_hard == end + row.wait).only_enforce_if(choice)
                size = row.len + self._road_after(job, "plaster")
                self.on_crew[crew].append(self.model.new_optional_fixed_size_interval_var(start, size, choice, ""))
                self.rigs.append(self.model.new_optional_fixed_size_interval_var(start, row.len, choice, ""))
                takers[crew].append(choice)
        self.model.add_exactly_one([out, *choices])
        return start, set_hard, end

    def _add_fill(self, job: int, record: Job, out: Any, set_hard: Any, plaster_end: Any) -> None:
        """Start and end of the fill, its day, and the start-ups that follow it."""
        rules = self.problem.rules
        start = self._stint(
            job,
            "fill_start",
            out,
            None
            if record.fill_days is None
            else {slot for row in record.fill_days for slot in range(row.first, row.last + 1)},
        )
        self.model.add(start >= set_hard).only_enforce_if(~out)
        self.model.add(start <= plaster_end + rules.fill_latest).only_enforce_if(~out)
        end = self._stint(job, "fill_end", out)
        full = start + record.fill_start_len + record.fill_len
        self.model.add(end >= full - rules.fill_end_early).only_enforce_if(~out)
        self.model.add(end >= start + record.fill_start_len).only_enforce_if(~out)
        self.model.add(end <= full + rules.fill_end_late).only_enforce_if(~out)
        later = {
            row: self._stint(job, row.stage, out) for row in rules.startup if self._fixed(record, row.stage) is None
        }
        days = []
        for day in np.flatnonzero(self.possible[job]):
            choice = self.model.new_bool_var("")
            days.append(choice)
            self.costs.append(fill_cost(self.problem, job, int(day)) * choice)
            self.model.add_linear_constraint(end, DAY * int(day), DAY * int(day) + DAY - 1).only_enforce_if(choice)
            for row, slot in later.items():
                due = int(day) + row.day
                low, high = DAY * (due - row.tol), DAY * (due + row.tol) + DAY - 1
                self.model.add_linear_constraint(slot, low, high).only_enforce_if(choice)
        self.model.add_exactly_one([out, *days])

    def add_fixed(self) -> None:
        """Fixed stints take their crew's time (and a rig or a pump), where they do not overlap each other."""
        spans: dict[int, list[tuple[int, int]]] = defaultdict(list)
        for job in self.problem.jobs:
            for stage in job.fixed:
                if stage.end > 0:
                    spans[self.line.crew_index[stage.crew]].append((max(stage.start, 0), stage.end))
        for crew, mine in spans.items():
            free_from = 0
            for start, end in sorted(mine):
                if end > max(start, free_from):
                    start = max(start, free_from)
                    self.on_crew[crew].append(self.model.new_fixed_size_interval_var(start, end - start, ""))
                    free_from = end

    def prove(self, seconds: float, seed: int, *, deterministic: bool) -> Proof:
        """Minimise the main part, with one thread, for a time or for as much deterministic time."""
        self.model.minimize(self.total)
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = seed
        if deterministic:
            solver.parameters.max_deterministic_time = seconds
        else:
            solver.parameters.max_time_in_seconds = seconds
        status = solver.solve(self.model)
        if status == cp_model.MODEL_INVALID:
            raise AssertionError(f"The proof is no valid model: {self.model.validate()}")
        return Proof(int(np.ceil(solver.best_objective_bound - 1e-6)), status == cp_model.OPTIMAL)
