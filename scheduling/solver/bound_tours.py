"""What no plan of a small problem can undercut, travel included: a linear program whose columns are crews' days.

Every crew's day is a tour through a set of sites, which costs at least the shortest way through them from its base
and back; tours are generated as they are needed [column generation, Desrochers, Desrosiers, Solomon 1992, Operations
Research 40].  Jobs choose days for all their stages, in their order and within their waits; a crew's day has so many
slots.  The main part is at least what was proven for it alone.  Branching on the days of the fills raises it further
(`bound_branch`), about one unit in a hundred of what is missing for each branch.

Tried and dropped: the roads of each tour in the time of its day (5 units higher, twenty times as long).
"""

from collections import defaultdict
from collections.abc import Iterable
from typing import Any

import numpy as np
from ortools.linear_solver import pywraplp

from scheduling.solver.bound import BoundSearch, days_apart, road_spare, shifts_in
from scheduling.solver.bound_choices import fill_cost, left_out_cost
from scheduling.solver.bound_model import DRY
from scheduling.solver.bound_pool import fill_choices
from scheduling.solver.bound_windows import Window
from scheduling.solver.facts import DAY, Job
from scheduling.solver.problem import stint_len
from scheduling.solver.tables import PATTERN, PREP_NEED, PREP_ROW, WORK_SLOT, WORKED
from scheduling.solver.timeline import Timeline
from scheduling.solver.tour_ways import tours

untyped_solver: Any = pywraplp.Solver
ROUNDS = 60
TOURS_A_DAY = 3
TINY = 1e-6
Place = tuple[int, int, int]
Terms = list[tuple[Any, float]]


class TourBound:
    """The linear program; `bound` is what no plan costs less than, if any plan costs no more than the windows allow."""

    def __init__(self, search: BoundSearch, windows: list[Window], least_main: int) -> None:
        self.search, self.problem, self.windows = search, search.problem, windows
        self.line = Timeline(self.problem)
        self.lp = untyped_solver.CreateSolver("GLOP")
        self.infinity = self.lp.infinity()
        self.goal = self.lp.Objective()
        self.goal.SetMinimization()
        self.at_site: dict[Place, list[Terms]] = defaultdict(list)
        self.slots: dict[tuple[int, int], Terms] = defaultdict(list)
        self.main: Terms = []
        self.road, self.apart = road_spare(self.problem, search.need), days_apart(self.problem)
        self.fill_on: dict[int, dict[int, list[Any]]] = defaultdict(lambda: defaultdict(list))
        self.chosen: list[Any] = [self._var() for _ in search.choices.job]
        self.reachable = [int(job) for job in search.deciding]
        fills = defaultdict(list)
        for row in fill_choices(search):
            fills[row[0]].append(row)
        for job in self.reachable:
            self._add_job(job, fills[job])
        for columns, values, limit in zip(search.rows.columns, search.rows.values, search.rows.limits, strict=True):
            self._row([(self.chosen[at], float(v)) for at, v in zip(columns, values, strict=True)], high=float(limit))
        self._row(self.main, low=float(least_main) - search.beside)
        self._add_days()

    def _var(self, cost: float = 0.0) -> Any:
        found = self.lp.NumVar(0.0, self.infinity, "")
        if cost:
            self.goal.SetCoefficient(found, cost)
        return found

    def _row(self, terms: Terms, low: float | None = None, high: float | None = None) -> Any:
        row = self.lp.Constraint(-self.infinity if low is None else low, self.infinity if high is None else high)
        total: dict[int, tuple[Any, float]] = {}
        for var, value in terms:
            total[var.index()] = var, value + total.get(var.index(), (var, 0.0))[1]
        for var, value in total.values():
            row.SetCoefficient(var, value)
        return row

    def _main_var(self, cost: float) -> Any:
        var = self._var(cost)
        self.main.append((var, cost))
        return var

    def _add_job(self, job: int, fills: list[tuple[int, int, int, int, int]]) -> None:
        """Days of all stages of a job, or its leaving out."""
        choices, window, record = self.search.choices, self.windows[job], self.problem.jobs[job]
        mine = [int(at) for at in np.flatnonzero(choices.job == job)]
        for at in mine:
            if int(choices.plaster[at]) not in window.plasters or int(choices.bond[at]) not in window.bonds:
                self._row([(self.chosen[at], 1.0)], high=0.0)
        mine = [
            at for at in mine if int(choices.plaster[at]) in window.plasters and int(choices.bond[at]) in window.bonds
        ]
        out = self._main_var(float(left_out_cost(self.problem, job)))
        if not window.out:
            self._row([(out, 1.0)], high=0.0)
        self._row([(out, 1.0), *((self.chosen[at], 1.0) for at in mine)], low=1.0, high=1.0)
        pairs = [
            (row, self._main_var(float(fill_cost(self.problem, job, row[2]))))
            for row in fills
            if row[1] in window.plasters and row[2] in window.fills
        ]
        for plaster in {int(choices.plaster[at]) for at in mine} | {row[1] for row, _ in pairs}:
            before = [(self.chosen[at], 1.0) for at in mine if choices.plaster[at] == plaster]
            self._row(before + [(var, -1.0) for row, var in pairs if row[1] == plaster], low=0.0, high=0.0)
        for row, var in pairs:
            self.fill_on[job][row[2]].append(var)
        if not mine or not pairs:
            return
        bonds, plasters = defaultdict(list), defaultdict(list)
        for at in mine:
            bonds[int(choices.bond[at])].append((self.chosen[at], 1.0))
            plasters[int(choices.plaster[at])].append((self.chosen[at], 1.0))
        self._on_days(job, "bond", [(day, day, terms) for day, terms in bonds.items()])
        self._on_days(job, "plaster", [(day, day, terms) for day, terms in plasters.items()])
        self._after_plaster(job, record, pairs)
        self._before_bond(job, record, bonds, out)

    def _after_plaster(self, job: int, record: Job, pairs: list[tuple[tuple[int, int, int, int, int], Any]]) -> None:
        """Start and end of the fill, and the start-ups."""
        starts: dict[tuple[int, int], Terms] = defaultdict(list)
        days: dict[int, Terms] = defaultdict(list)
        for (_, _, day, first, last), var in pairs:
            starts[first, last].append((var, 1.0))
            days[day].append((var, 1.0))
        self._on_days(job, "fill_start", [(*span, terms) for span, terms in starts.items()])
        kinds = [self._on_days(job, "fill_end", [(day, day, terms) for day, terms in days.items()], visit=False)]
        for row in self.problem.rules.startup:
            spans = [(day + row.day - row.tol, day + row.day + row.tol, terms) for day, terms in days.items()]
            kinds.append(self._on_days(job, row.stage, spans, visit=False))
        groups = [kinds] if self.apart else [[kind] for kind in kinds]
        for group in groups:
            together: dict[tuple[int, int], Terms] = defaultdict(list)
            for kind in group:
                for place, var in kind.items():
                    together[place].append((var, 1.0))
            for (crew, day), terms in together.items():
                self.at_site[crew, day, job].append(terms)

    def _on_days(
        self, job: int, stage: str, spans: Iterable[tuple[int, int, Terms]], *, visit: bool = True
    ) -> dict[tuple[int, int], Any]:
        """Variables by crew and day of a stage that lies in the span of days which the job chooses."""
        spans = list(spans)
        taken: dict[tuple[int, int], Any] = {}
        for day in sorted({day for first, last, _ in spans for day in range(first, last + 1)}):
            for crew in self.line.skilled[self.problem.skill(stage)]:
                length = self._length(job, stage, crew, day)
                if length:
                    var = taken[crew, day] = self._var()
                    road = self.road if stage == "fill_start" or (stage.startswith("startup") and self.apart) else 0
                    self.slots[crew, day].append((var, float(length + road)))
                    if visit:
                        self.at_site[crew, day, job].append([(var, 1.0)])
        self._follow(taken, spans)
        return taken

    def _follow(self, taken: dict[tuple[int, int], Any], spans: list[tuple[int, int, Terms]]) -> None:
        """As much is taken as is chosen, within each chosen span (by Hall's condition for intervals from an end)."""
        everything = [(var, -value) for *_, terms in spans for var, value in terms]
        self._row([(var, 1.0) for var in taken.values()] + everything, low=0.0, high=0.0)
        for cut in sorted({last for _, last, _ in spans}):
            due = [(var, -value) for _, last, terms in spans if last <= cut for var, value in terms]
            self._row([(var, 1.0) for (_, day), var in taken.items() if day <= cut] + due, low=0.0)
        for cut in sorted({first for first, *_ in spans}):
            due = [(var, -value) for first, _, terms in spans if first >= cut for var, value in terms]
            self._row([(var, 1.0) for (_, day), var in taken.items() if day >= cut] + due, low=0.0)

    def _length(self, job: int, stage: str, crew: int, day: int) -> int:
        """Slots of a stage on a day, or 0 if the crew cannot do it there."""
        if not 0 <= day < self.problem.horizon_days:
            return 0
        record = self.problem.jobs[job]
        if stage == "plaster":
            rows = [row for row in record.plaster_days if row.day == day]
            fit = [
                row.len
                for row in rows
                if self.line.site_starts(job, stage, day, row.len, row.first, row.last)
                & self.line.shift_starts(crew, day, row.len)
                and self.problem.crews[crew].people >= row.people
            ]
            return min(fit, default=0)
        length = stint_len(self.problem, record, stage)
        starts = self.line.site_starts(job, stage, day, length, 0, self.problem.end)
        return length if starts & self.line.shift_starts(crew, day, length) else 0

    def _before_bond(self, job: int, record: Job, bonds: dict[int, Terms], out: Any) -> None:
        """Drain and prep, each before the next."""
        fixed = {stage.stage for stage in record.fixed}
        due = max(bonds)
        if "prep" in fixed:
            return
        preps = self._add_preps(job, due)
        self._row([(out, 1.0), *((var, 1.0) for *_, var in preps)], low=1.0, high=1.0)
        for cut in sorted(bonds)[:-1]:
            early = [(var, -1.0) for day, terms in bonds.items() if day <= cut for var, _ in terms]
            self._row([(var, 1.0) for _, last, var in preps if last <= cut] + early, low=0.0)
        if "drain_pull" in fixed:
            return
        pulls = self._any_day(job, "drain_pull", due, out)
        for cut in sorted({first for first, *_ in preps})[:-1]:
            early = [(var, -1.0) for first, _, var in preps if first <= cut]
            self._row([(var, 1.0) for day, var in pulls if day <= cut] + early, low=0.0)
        if "drain_setup" in fixed:
            return
        setups = self._any_day(job, "drain_setup", due, out)
        for cut in sorted({day for day, _ in pulls})[:-1]:
            latest = (DAY * cut + DAY - record.drain_pull_len - record.pump_len - record.drain_setup_len) // DAY
            early = [(var, -1.0) for day, var in pulls if day <= cut]
            self._row([(var, 1.0) for day, var in setups if day <= latest] + early, low=0.0)

    def _any_day(self, job: int, stage: str, due: int, out: Any) -> list[tuple[int, Any]]:
        found = []
        low = max(self.problem.now, self.problem.jobs[job].earliest, 0) // DAY
        for day in range(low, due + 1):
            for crew in self.line.skilled["water"]:
                length = self._length(job, stage, crew, day)
                if length:
                    var = self._var()
                    self.slots[crew, day].append((var, float(length)))
                    self.at_site[crew, day, job].append([(var, 1.0)])
                    found.append((day, var))
        self._row([(out, 1.0), *((var, 1.0) for _, var in found)], low=1.0, high=1.0)
        return found

    def _add_preps(self, job: int, due: int) -> list[tuple[int, int, Any]]:
        """Preps as (first day, last day, variable) of every crew."""
        table, found = self.search.table, []
        at_site: dict[tuple[int, int], Terms] = defaultdict(list)
        for crew in self.line.skilled["prep"]:
            row, column = table.crew[crew, PREP_ROW], table.job[job, PATTERN]
            need = int(table.base[PREP_NEED, crew, job])
            low = max(self.problem.now, self.problem.jobs[job].earliest, int(self.search.lists.job[job][DRY]), 0)
            count = int(table.work[WORKED, row, column, self.problem.end])
            slots = table.work[WORK_SLOT, row, column, int(table.work[WORKED, row, column, low]) : count]
            days = slots[slots < DAY * due + DAY] // DAY
            spans: dict[tuple[int, int], dict[int, int]] = {}
            for at in range(len(days) - need + 1):
                used = days[at : at + need]
                of_day = {int(day): int(n) for day, n in zip(*np.unique(used, return_counts=True), strict=True)}
                key = int(used[0]), int(used[-1])
                known = spans.setdefault(key, of_day)
                spans[key] = {day: min(n, of_day[day]) for day, n in known.items()}
            for (first, last), of_day in spans.items():
                var = self._var()
                found.append((first, last, var))
                for day, used_slots in of_day.items():
                    self.slots[crew, day].append((var, float(used_slots)))
                    at_site[crew, day].append((var, 1.0))
        for (crew, day), terms in at_site.items():
            self.at_site[crew, day, job].append(terms)
        return found

    def _add_days(self) -> None:
        """Each crew's day: time, at most one tour, and a tour through every site where it works."""
        problem, jobs = self.problem, self.reachable
        self.bit = {job: at for at, job in enumerate(jobs)}
        self.ways = {crew: tours(problem, crew, jobs) for crew in range(len(problem.crews))}
        self.cover: dict[Place, Any] = {}
        self.once: dict[tuple[int, int], Any] = {}
        self.sites: dict[tuple[int, int], int] = defaultdict(int)
        for (crew, day), terms in self.slots.items():
            room = float(self.search.shift[crew, day].sum())
            room += self.road * shifts_in(problem.crews[crew], day, 0, DAY)
            self._row(terms, high=room)
            self.once[crew, day] = self._row([], high=1.0)
        for (crew, day, job), kinds in self.at_site.items():
            visit = self._var()
            for terms in kinds:
                self._row([(visit, 1.0), *((var, -value) for var, value in terms)], low=0.0)
            self.cover[crew, day, job] = self._row([(visit, -1.0)], low=0.0)
            self.sites[crew, day] |= 1 << self.bit[job]
        self.tours: dict[tuple[int, int, int], Any] = {}
        for crew, day, job in self.cover:
            self._add_tour(crew, day, 1 << self.bit[job])
        for (crew, day), sites in self.sites.items():
            if sites & (sites - 1):
                self._add_tour(crew, day, sites)

    def _add_tour(self, crew: int, day: int, sites: int) -> None:
        var = self._var(self.ways[crew][sites] * self.problem.weights.travel_km / 1000.0)
        self.tours[crew, day, sites] = var
        self.once[crew, day].SetCoefficient(var, 1.0)
        for job, at in self.bit.items():
            if sites >> at & 1:
                self.cover[crew, day, job].SetCoefficient(var, 1.0)

    def keep(self, job: int, days: frozenset[int]) -> None:
        """Let a job fill on these days only."""
        for day, variables in self.fill_on[job].items():
            for var in variables:
                var.SetUb(self.infinity if day in days else 0.0)

    def solve(self) -> float | None:
        """Bound on the objective; None if no plan keeps to the windows."""
        bound = -np.inf
        for _ in range(ROUNDS):
            status = self.lp.Solve()
            if status != pywraplp.Solver.OPTIMAL:
                return None if status == pywraplp.Solver.INFEASIBLE else bound + self.search.beside
            new, lacking = self._cheaper_tours()
            bound = max(bound, self.goal.Value() + lacking)
            if not new:
                break
            for tour in new:
                self._add_tour(*tour)
        return float(bound) + self.search.beside

    def _cheaper_tours(self) -> tuple[list[tuple[int, int, int]], float]:
        """Tours that pay at the present prices, and what all crews' days together could gain at most (negative)."""
        subsets = np.arange(1 << len(self.reachable))
        inside = (subsets[:, None] >> np.arange(len(self.reachable))) & 1
        worth = {place: row.dual_value() for place, row in self.cover.items()}
        new, lacking = [], 0.0
        for crew, day in self.once:
            gains = np.array([worth.get((crew, day, job), 0.0) for job in self.reachable])
            price = self.ways[crew] * self.problem.weights.travel_km / 1000.0 - inside @ gains
            price -= self.once[crew, day].dual_value()
            price[(subsets & ~self.sites[crew, day]) != 0] = np.inf
            price[0] = np.inf
            order = np.argsort(price)[:TOURS_A_DAY]
            lacking += min(0.0, float(price[order[0]]))
            new += [(crew, day, int(at)) for at in order if price[at] < -TINY]
        return [tour for tour in new if tour not in self.tours], lacking

    def fill_shares(self) -> dict[int, dict[int, float]]:
        """How much of each job fills on each day in the solution found last."""
        return {
            job: {day: sum(var.solution_value() for var in variables) for day, variables in by_day.items()}
            for job, by_day in self.fill_on.items()
        }
