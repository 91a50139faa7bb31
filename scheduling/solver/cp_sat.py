"""All stages of a problem as a constraint program, within the windows that a known plan leaves: driving costs nothing.

Left out are rules, never plans: what it proves no plan can undercut.  Tried and dropped: roads only between the stints
that a solution brought too close (6 rounds of a second each where all roads at once take 1.5 s); more than about 15
jobs (30 jobs: no bound above the linear one in a minute).
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import Any

import numpy as np
from ortools.sat.python import cp_model

from scheduling.solver.bound import BoundSearch, days_apart
from scheduling.solver.bound_choices import fill_cost, left_out_cost
from scheduling.solver.bound_model import BASE, DRY, KIND, SIMPLE
from scheduling.solver.bound_windows import Window
from scheduling.solver.facts import DAY, Job
from scheduling.solver.problem import stint_len
from scheduling.solver.tables import PATTERN, PREP_NEED, PREP_ROW, WORK_SLOT, WORKED
from scheduling.solver.timeline import Timeline, each

Span = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Stint:
    """One crew's taking of a stage in the model: the literal, the start and the first slot after it."""

    job: int
    stage: str
    crew: int
    taken: Any
    start: Any
    end: Any


class StageModel:
    """The constraint program of one problem: `total` is the main part of the objective."""

    def __init__(self, search: BoundSearch, windows: list[Window]) -> None:
        problem = search.problem
        self.problem, self.search, self.windows = problem, search, windows
        self.table, self.lists, self.need = search.table, search.lists, search.need
        self.line = Timeline(problem)
        self.model = cp_model.CpModel()
        self.costs: list[Any] = []
        self.stints: list[Stint] = []
        self.out: dict[int, Any] = {}
        self.fills: dict[tuple[int, int], Any] = {}
        self.on_crew: dict[int, list[Any]] = defaultdict(list)
        self.pumps: list[Any] = []
        self.rigs: list[Any] = []
        for job in range(len(problem.jobs)):
            self.add_job(job)
        self.add_fixed()
        self.add_roads()
        for intervals in self.on_crew.values():
            self.model.add_no_overlap(intervals)
        if len(self.pumps) > problem.pumps:
            self.model.add_cumulative(self.pumps, [1] * len(self.pumps), problem.pumps)
        if len(self.rigs) > problem.rigs:
            self.model.add_cumulative(self.rigs, [1] * len(self.rigs), problem.rigs)
        self.total = sum(self.costs)

    def add_job(self, job: int) -> None:
        """All stages of a job, or none."""
        facts, window = self.lists.job[job], self.windows[job]
        if facts[KIND] == SIMPLE:
            self.costs.append(int(facts[BASE]) // 1000)
            return
        out = self.out[job] = self.model.new_bool_var("")
        self.costs.append(left_out_cost(self.problem, job) * out)
        if not window.out:
            self.model.add(out == 0)
        if window.never:
            self.model.add(out == 1)
            return
        record = self.problem.jobs[job]
        rows = [row for row in record.bond_days if row.day in window.bonds]
        due = max(row.last for row in rows)
        dry = self._add_drain(job, record, out, due)
        dressed = self._add_prep(job, record, out, dry, due)
        bond = self._stint(job, "bond", out, (int(facts[DRY]), due), _starts((row.first, row.last) for row in rows))
        self.model.add(bond >= dressed).only_enforce_if(~out)
        cured = self._after_rows(bond, out, [(r.first, r.last, record.bond_len + r.cure) for r in rows])
        plaster, set_hard, plaster_end = self._add_plaster(job, record, out)
        self.model.add(plaster >= cured).only_enforce_if(~out)
        self.model.add(plaster <= bond + record.bond_len + self.problem.rules.recoat_max).only_enforce_if(~out)
        self._add_fill(job, record, out, set_hard, plaster_end)

    def _var(self, low: int = 0, high: int | None = None) -> Any:
        return self.model.new_int_var(low, 2 * self.problem.end if high is None else high, "")

    def _stint(self, job: int, stage: str, out: Any, span: Span, allowed: set[int] | None = None) -> Any:
        """Start, in a span, of a stint of fixed length by one crew with the skill."""
        length = stint_len(self.problem, self.problem.jobs[job], stage)
        low, high = max(span[0], 0), min(span[1], self.problem.end - length)
        start, takers = self._var(), []
        for crew in self.line.skilled[self.problem.skill(stage)]:
            slots = [
                DAY * day + slot
                for day in range(low // DAY, high // DAY + 1)
                for slot in each(
                    self.line.site_starts(job, stage, day, length, low, high)
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
            self.stints.append(Stint(job, stage, crew, taker, start, start + length))
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

    def _fixed(self, record: Job, stage: str) -> Span | None:
        return next(((fixed.start, fixed.end) for fixed in record.fixed if fixed.stage == stage), None)

    def _add_drain(self, job: int, record: Job, out: Any, due: int) -> Any:
        """End of the drain; a pump is held all along."""
        setup, pull = self._fixed(record, "drain_setup"), self._fixed(record, "drain_pull")
        if pull:
            return pull[1]
        first = setup[0] if setup else self._stint(job, "drain_setup", out, (0, due))
        first_end = setup[1] if setup else first + record.drain_setup_len
        last = self._stint(job, "drain_pull", out, (0, due))
        self.model.add(last >= first_end + record.pump_len).only_enforce_if(~out)
        held = self._var()
        self.pumps.append(
            self.model.new_optional_interval_var(
                max(first, 0) if isinstance(first, int) else first, held, last + record.drain_pull_len, ~out, ""
            )
        )
        return last + record.drain_pull_len

    def _add_prep(self, job: int, record: Job, out: Any, dry: Any, due: int) -> Any:
        """End of the prep, by one crew from a working slot to its last one."""
        fixed = self._fixed(record, "prep")
        if fixed:
            return fixed[1]
        start, end, takers = self._var(), self._var(), []
        self.model.add(start >= dry).only_enforce_if(~out)
        for crew in self.line.skilled["prep"]:
            runs = self._runs(job, crew, due)
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
            size = self._var(min(span for *_, span in runs), max(span for *_, span in runs))
            self.on_crew[crew].append(self.model.new_optional_interval_var(start, size, end, taker, ""))
            self.stints.append(Stint(job, "prep", crew, taker, start, end))
        self.model.add_exactly_one([out, *takers])
        return end

    def _runs(self, job: int, crew: int, due: int) -> list[tuple[int, int, int]]:
        """Runs (first start, last start, end - start) of preps with the same length in time that end in time."""
        table, row = self.table, self.table.crew[crew, PREP_ROW]
        column, need = table.job[job, PATTERN], table.base[PREP_NEED, crew, job]
        low = max(self.problem.now, self.problem.jobs[job].earliest, int(self.lists.job[job][DRY]), 0)
        count = int(table.work[WORKED, row, column, self.problem.end])
        slots = table.work[WORK_SLOT, row, column, int(table.work[WORKED, row, column, low]) : count]
        slots = slots[slots < due]
        if len(slots) < need:
            return []
        starts, ends = slots[: len(slots) - need + 1], slots[need - 1 :] + 1
        breaks = np.flatnonzero((np.diff(starts) != 1) | (np.diff(ends - starts) != 0)) + 1
        edges = [0, *(int(at) for at in breaks), len(starts)]
        return [(int(starts[a]), int(starts[b - 1]), int(ends[a] - starts[a])) for a, b in pairwise(edges)]

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
            if row.day not in self.windows[job].plasters:
                continue
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
        for crew, mine in takers.items():
            taker = self.model.new_bool_var("")
            self.model.add(sum(mine) == taker)
            self.stints.append(Stint(job, "plaster", crew, taker, start, end))
        return start, set_hard, end

    def _add_fill(self, job: int, record: Job, out: Any, set_hard: Any, plaster_end: Any) -> None:
        """Start and end of the fill, its day, and the start-ups that follow it."""
        rules, days = self.problem.rules, sorted(self.windows[job].fills)
        low, high = DAY * days[0], DAY * days[-1] + DAY - 1
        before = record.fill_start_len + record.fill_len
        span = (low - before - rules.fill_end_late, high - before + rules.fill_end_early)
        rows = record.fill_days
        start = self._stint(
            job, "fill_start", out, span, None if rows is None else _starts((row.first, row.last) for row in rows)
        )
        self.model.add(start >= set_hard).only_enforce_if(~out)
        self.model.add(start <= plaster_end + rules.fill_latest).only_enforce_if(~out)
        end = self._stint(job, "fill_end", out, (low, high))
        self.model.add(end >= start + before - rules.fill_end_early).only_enforce_if(~out)
        self.model.add(end >= start + record.fill_start_len).only_enforce_if(~out)
        self.model.add(end <= start + before + rules.fill_end_late).only_enforce_if(~out)
        later = {
            row: self._stint(job, row.stage, out, (low + DAY * (row.day - row.tol), high + DAY * (row.day + row.tol)))
            for row in rules.startup
            if self._fixed(record, row.stage) is None
        }
        choices = []
        for day in days:
            choice = self.fills[job, day] = self.model.new_bool_var("")
            choices.append(choice)
            self.costs.append(fill_cost(self.problem, job, day) * choice)
            self.model.add_linear_constraint(end, DAY * day, DAY * day + DAY - 1).only_enforce_if(choice)
            for row, slot in later.items():
                due = day + row.day
                first, last = DAY * (due - row.tol), DAY * (due + row.tol) + DAY - 1
                self.model.add_linear_constraint(slot, first, last).only_enforce_if(choice)
        self.model.add_exactly_one([out, *choices])

    def add_fixed(self) -> None:
        """Fixed stints take their crew's time, where they do not overlap each other."""
        spans: dict[int, list[Span]] = defaultdict(list)
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

    def add_roads(self) -> None:
        """Time for the road between any two stints of one crew at different sites.

        Stints lie in shifts, and nights are longer than any road, so that this holds on different days of itself;
        roads to and from fixed stints, which may lie anywhere, are left out.
        """
        for first, second in combinations(self.stints, 2):
            road = self.line.road(first.job, second.job)
            if first.crew != second.crew or first.job == second.job or not road:
                continue
            both = [first.taken, second.taken]
            before = self.model.new_bool_var("")
            self.model.add(second.start >= first.end + road).only_enforce_if([before, *both])
            self.model.add(first.start >= second.end + road).only_enforce_if([~before, *both])


def _starts(spans: Iterable[Span]) -> set[int]:
    return {slot for first, last in spans for slot in range(first, last + 1)}
