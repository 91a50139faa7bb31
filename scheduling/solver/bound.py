"""What no plan can undercut, from a relaxation that leaves rules out but no plan: a mixed-integer program.

Every job chooses a plaster day and a bond day, or is left out.  A day has so many plaster crews; the bond coats
that must lie in a part of a day must find room there beside each other, in time and in number (dual feasible
functions [Fekete, Schepers 2001, Mathematical Programming 91]); and the preps that must lie in a span of days take
no more person-slots than the prep crews have.  The dual prices of these limits guide the search.

Travel: a tour is at least twice as long as the way to its farthest site, so each stint accounts for that share of
the way to its own site that it takes of its crew's day.
"""

from dataclasses import dataclass
from math import ceil, floor, gcd
from typing import Any

import numpy as np
from scipy.optimize import Bounds as Box
from scipy.optimize import LinearConstraint, linprog, milp
from scipy.sparse import csr_array

from scheduling.solver.bound_choices import Floats, Whole, choices, clique_slots, left_out_cost
from scheduling.solver.bound_model import BASE, KIND, SIMPLE, alone
from scheduling.solver.calendar_arrays import empty_calendar
from scheduling.solver.facts import DAY, Crew
from scheduling.solver.placing import explore_alone
from scheduling.solver.problem import Problem, metres, prep_slots
from scheduling.solver.profiles import BOND_TOLL, PLASTER_TOLL, PREP_TOLL, TOLLS, scratch
from scheduling.solver.tables import tables

untyped_linprog: Any = linprog
ROUNDS = 12
ROWS_A_ROUND = 25
BRANCH_JOBS = 150
BRANCH_NODES = 500
BRANCH_SECONDS = 20.0
ROUNDING_M = 40
ROUNDING = 1e-3


@dataclass(frozen=True, slots=True)
class Bounds:
    """Bounds on the main part (days late, fill days, jobs left out) and on the whole objective."""

    main: int
    whole: int


@dataclass
class Rows:
    """Rows `values x <= limit` of the program; `kind` and `day` tell whose price a row's dual is."""

    columns: list[Whole]
    values: list[Floats]
    limits: list[float]
    kind: list[int]
    day: list[int]

    def add(self, columns: Whole, values: Floats, limit: float, kind: int, day: int) -> None:
        """Append one row, unless it could not be broken."""
        if values.sum() > limit:
            self.columns.append(columns)
            self.values.append(values)
            self.limits.append(limit)
            self.kind.append(kind)
            self.day.append(day)

    def matrix(self, width: int) -> csr_array:
        """The rows as a sparse matrix."""
        rows = np.repeat(np.arange(len(self.columns)), [len(columns) for columns in self.columns])
        empty = np.zeros(0)
        values, columns = np.concatenate([empty, *self.values]), np.concatenate([empty, *self.columns])
        return csr_array((values, (rows, columns.astype(np.int64))), shape=(len(self.columns), width))


class BoundSearch:
    """The relaxation of a problem, its bounds, and what crews' time is worth in it."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.table = tables(problem)
        calendar = empty_calendar(self.table)
        self.room = scratch(self.table, 0)
        explore_alone(self.table, calendar, self.room)
        self.lists = alone(self.table, calendar, self.room)
        self.clique = clique_slots(self.lists, problem.horizon_days)
        self.choices = choices(problem, self.lists, self.clique)
        self.need = self.least_roads()
        self.shift = self._shifts()
        self.rows = Rows([], [], [], [], [])
        self._limit_plasters()
        self._limit_bonds()
        self.toll: Floats = np.zeros((TOLLS, len(problem.crews), problem.horizon_days))
        self.bounds = self._solve()

    def _shifts(self) -> Floats:
        """Which slots of its days each crew works [crew, day, slot], without fixed stints."""
        problem = self.problem
        shift = np.zeros((len(problem.crews), problem.end))
        for at, crew in enumerate(problem.crews):
            for first, last in crew.shifts:
                shift[at, first:last] = 1
        index = {crew.id: at for at, crew in enumerate(problem.crews)}
        for job in problem.jobs:
            for stage in job.fixed:
                shift[index[stage.crew], max(stage.start, 0) : max(stage.end, 0)] = 0
        return shift.reshape(len(problem.crews), problem.horizon_days, DAY)

    def least_roads(self) -> Whole:
        """Least slots on the road from each site to another."""
        sites = [job.site for job in self.problem.jobs]
        others = sorted(set(sites))
        need = np.zeros(len(sites), np.int64)
        if len(others) == len(sites) > 1:
            for at, here in enumerate(sites):
                need[at] = min(self.problem.travel_slots(here, there) for there in others if there != here)
        return need

    def _skilled(self, skill: str) -> list[int]:
        return [at for at, crew in enumerate(self.problem.crews) if skill in crew.skills]

    def _limit_plasters(self) -> None:
        """No more stints that cover the clique slot of a day than plaster crews on shift, or rigs."""
        crews = self._skilled("plaster")
        for day in range(self.problem.horizon_days):
            columns = np.flatnonzero((self.choices.plaster == day) & self.choices.covers)
            limit = min(self.shift[crews, day, self.clique[day]].sum(), self.problem.rigs)
            self.rows.add(columns, np.ones(len(columns)), float(limit), PLASTER_TOLL, day)

    def _limit_bonds(self) -> None:
        """Bond coats that must lie in a part of a day find room beside each other there."""
        crews = self._skilled("prep")
        size = self.choices.coat + self.need[self.choices.job] if len(self.need) else self.choices.coat
        spare = int(self.need.max(initial=0))
        for day in np.unique(self.choices.bond):
            today = np.flatnonzero(self.choices.bond == day)
            for first in np.unique(self.choices.earliest[today])[:4]:
                for last in np.unique(self.choices.due[today]):
                    inside = today[(self.choices.earliest[today] >= first) & (self.choices.due[today] <= last)]
                    open_slots = self.shift[crews, day, first:last].sum(axis=1)
                    shifts = np.array([shifts_in(self.problem.crews[crew], day, first, last) for crew in crews])
                    room = (open_slots + spare * shifts)[open_slots > 0]
                    if len(inside) < 2:
                        continue
                    self.rows.add(inside, size[inside].astype(float), float(room.sum()), BOND_TOLL, int(day))
                    widest = float(room.max(initial=1))
                    for parts in (1, 2, 3):
                        share = packing_share(size[inside] / widest, parts)
                        self.rows.add(inside, share, float(len(room)), BOND_TOLL, int(day))

    def _solve(self) -> Bounds:
        """Solve with and without travel; the tolls are those without."""
        simple = sum(int(facts[BASE]) for facts in self.lists.job if facts[KIND] == SIMPLE) / 1000
        if not len(self.choices.job):
            out = sum(
                left_out_cost(self.problem, job) for job, facts in enumerate(self.lists.job) if facts[KIND] != SIMPLE
            )
            return self.rounded(simple + out, simple + out)
        jobs, self.columns = np.unique(self.choices.job, return_inverse=True)
        out_costs = np.array([float(left_out_cost(self.problem, int(job))) for job in jobs])
        others = {job for job, facts in enumerate(self.lists.job) if facts[KIND] != SIMPLE} - {int(j) for j in jobs}
        simple += sum(left_out_cost(self.problem, job) for job in others)
        ride = np.array([self._ride(int(job)) for job in jobs])
        costs = np.concatenate([self.choices.cost, out_costs])
        with_travel = np.concatenate([self.choices.cost + ride[self.columns], out_costs])
        self.deciding, self.beside = jobs, float(simple)
        self.costs, self.costs_with_ride = costs, with_travel
        main = self._cut(costs)
        whole = self._program(with_travel)
        return self.rounded(simple + main, simple + whole)

    def _cut(self, costs: Floats) -> float:
        """Solve, add spans of days whose preps take too many person-slots, and solve again."""
        people = np.array([crew.people if "prep" in crew.skills else 0 for crew in self.problem.crews], float)
        capacity = np.concatenate([[0.0], np.cumsum(people @ self.shift.sum(axis=2))])
        done: set[tuple[int, int]] = set()
        for _ in range(ROUNDS):
            result = self._linear(costs)
            broken = [span for span in self._broken(result.x, capacity) if span not in done][:ROWS_A_ROUND]
            if not broken:
                break
            for first, last in broken:
                done.add((first, last))
                inside = np.flatnonzero((self.choices.dry >= first) & (self.choices.bond <= last))
                limit = float(capacity[last + 1] - capacity[first])
                self.rows.add(inside, self.choices.work[inside], limit, PREP_TOLL, first * DAY * 1000 + last)
        result = self._linear(costs)
        self._set_tolls(-np.asarray(result.ineqlin.marginals), people)
        return max(float(result.fun), self._branched(costs))

    def _program(self, costs: Floats) -> float:
        return max(float(self._linear(costs).fun), self._branched(costs))

    def reduced_costs(self, limit: int, *, ride: bool) -> tuple[float, Floats, dict[int, float]]:
        """How far a plan at `limit` is above the linear relaxation, and reduced costs: of choices, of leaving out."""
        if not len(self.choices.job):
            return np.inf, np.zeros(0), {}
        result = self._linear(self.costs_with_ride if ride else self.costs)
        reduced = np.asarray(result.lower.marginals)
        out = reduced[len(self.choices.job) :]
        by_job = {int(job): float(cost) for job, cost in zip(self.deciding, out, strict=True)}
        slack = limit - self.beside - float(result.fun) + ROUNDING
        return slack, reduced[: len(self.choices.job)], by_job

    def _each_job(self) -> csr_array:
        """Rows: each job takes one of its choices or is left out."""
        jobs, count = int(self.columns.max()) + 1, len(self.choices.job)
        rows = np.concatenate([self.columns, np.arange(jobs)])
        return csr_array((np.ones(count + jobs), (rows, np.arange(count + jobs))), shape=(jobs, count + jobs))

    def _linear(self, costs: Floats) -> Any:
        each = self._each_job()
        result = untyped_linprog(
            costs,
            A_ub=self.rows.matrix(len(costs)) if self.rows.limits else None,
            b_ub=np.array(self.rows.limits) if self.rows.limits else None,
            A_eq=each,
            b_eq=np.ones(each.shape[0]),
            bounds=(0, None),
            method="highs",
        )
        if result.status != 0:
            raise AssertionError(f"The relaxation could not be solved: {result.message}")
        return result

    def _branched(self, costs: Floats) -> float:
        """The bound after some branching on whole choices; only for problems of moderate size."""
        if len(self.lists.job) > BRANCH_JOBS or not self.rows.limits:
            return -np.inf
        each = self._each_job()
        result = milp(
            costs,
            constraints=[
                LinearConstraint(self.rows.matrix(len(costs)), -np.inf, np.array(self.rows.limits)),
                LinearConstraint(each, 1, 1),
            ],
            integrality=np.ones(len(costs), np.int64),
            bounds=Box(0, 1),
            options={"node_limit": BRANCH_NODES, "time_limit": BRANCH_SECONDS},
        )
        return -np.inf if result.mip_dual_bound is None else float(result.mip_dual_bound)

    def _broken(self, share: Floats, capacity: Floats) -> list[tuple[int, int]]:
        """Spans of days in which the preps chosen take more than there is, the worst first."""
        days = self.problem.horizon_days
        load = np.zeros((days, days))
        chosen = self.choices.work * share[: len(self.choices.job)]
        np.add.at(load, (self.choices.dry, self.choices.bond), chosen)
        within = np.cumsum(np.cumsum(load[::-1], axis=0)[::-1], axis=1)
        room = capacity[None, 1:] - capacity[:-1, None]
        excess = np.where(np.triu(np.ones((days, days), bool)), within - room, 0.0)
        order = np.argsort(-excess, axis=None)[: 4 * ROWS_A_ROUND]
        return [(int(at) // days, int(at) % days) for at in order if excess.flat[at] > 1e-6 * max(capacity[-1], 1.0)]

    def _set_tolls(self, prices: Floats, people: Floats) -> None:
        """Turn the dual prices into tolls [thousandths] of a slot of a crew's day."""
        for row, price in enumerate(np.maximum(prices, 0.0) * 1000.0):
            if price == 0.0:
                continue
            kind, day, columns = self.rows.kind[row], self.rows.day[row], self.rows.columns[row]
            if kind == PREP_TOLL:
                first, last = divmod(day, DAY * 1000)
                self.toll[PREP_TOLL, :, first : last + 1] += price * people[:, None]
                self.toll[BOND_TOLL, :, first : last + 1] += price * people[:, None]
            elif kind == BOND_TOLL:
                lengths = self.choices.coat[columns].mean()
                self.toll[BOND_TOLL, :, day] += price * self.rows.values[row].mean() / lengths
            else:
                self.toll[PLASTER_TOLL, :, day] += price

    def guide(self) -> Whole:
        """Tolls [thousandths]: of a slot of a crew's day, or (plaster) of a stint on it."""
        return np.round(self.toll).astype(np.int64)

    def rounded(self, main: float, whole: float) -> Bounds:
        """The main part is a multiple of what all prices have in common."""
        unit = main_unit(self.problem)
        rounded = unit * ceil(main / unit - 1e-4)
        return Bounds(main=max(rounded, 0), whole=max(rounded, floor(whole - 1e-3), 0))

    def _ride(self, job: int) -> float:
        """Least cost of driving that a planned job accounts for."""
        problem, record = self.problem, self.problem.jobs[job]
        fixed = {stage.stage for stage in record.fixed}
        spare = int(self.need.max(initial=0))
        road = int(self.need[job]) if days_apart(self.problem) else 0
        slots = record.drain_setup_len * ("drain_setup" not in fixed)
        slots += record.drain_pull_len * ("drain_pull" not in fixed)
        slots += record.fill_end_len * ("fill_end" not in fixed)
        slots += (record.fill_start_len + road) * ("fill_start" not in fixed)
        slots += sum((row.len + road) * (row.stage not in fixed) for row in problem.rules.startup)
        total = slots * self._least_share(job, "water", spare)
        if "prep" not in fixed:
            total += min(
                (prep_slots(record, problem.crews[at]) * self._share(job, at, spare) for at in self._skilled("prep")),
                default=0.0,
            )
        if "bond" not in fixed:
            total += record.bond_len * self._least_share(job, "prep", spare)
        if "plaster" not in fixed and record.plaster_days:
            total += min(row.len for row in record.plaster_days) * self._least_share(job, "plaster", spare)
        return total * problem.weights.travel_km / 1000.0

    def _least_share(self, job: int, skill: str, spare: int) -> float:
        return min((self._share(job, at, spare) for at in self._skilled(skill)), default=0.0)

    def _share(self, job: int, crew: int, spare: int) -> float:
        """Metres that each slot of a crew's stint at a site accounts for."""
        record = self.problem.crews[crew]
        per_day: dict[int, int] = {}
        for first, last in record.shifts:
            per_day[first // DAY] = per_day.get(first // DAY, 0) + last - first + spare
        longest = max(per_day.values(), default=1)
        return 2.0 * max(0, metres(record.base, self.problem.jobs[job].site) - ROUNDING_M) / longest


def days_apart(problem: Problem) -> bool:
    """Tell whether no two attendances of a job, the end of its fill among them, can fall on one day."""
    days = [day for row in problem.rules.startup for day in range(row.day - row.tol, row.day + row.tol + 1)]
    return len(set(days)) == len(days) and min(days, default=1) >= 1


def shifts_in(crew: Crew, day: int, first: int, last: int) -> int:
    """Number of shifts of a crew in a part of a day; a road may lie in the break between two."""
    return sum(start < DAY * day + last and DAY * day + first < end for start, end in crew.shifts)


def road_spare(problem: Problem, need: Whole) -> int:
    """A slot on the road that every visit needs but one a shift, if no two sites are without a road: 1, else 0."""
    return min(1, int(need.min())) if len(need) else 0


def main_unit(problem: Problem) -> int:
    """What all prices of the main part are multiples of."""
    weights = problem.weights
    return gcd(weights.fill_day, weights.late_day, weights.unplanned) or 1


def trivial_bound(problem: Problem) -> int:
    """Main part of a plan in which each job had all crews for itself."""
    table = tables(problem)
    calendar, room = empty_calendar(table), scratch(table, 0)
    explore_alone(table, calendar, room)
    return int(alone(table, calendar, room).job[:, BASE].sum()) // 1000


def packing_share(size: Floats, parts: int) -> Floats:
    """Dual feasible function u(parts) of sizes as shares of a crew's room: sums stay at most 1 where sizes fit."""
    scaled = (parts + 1) * size
    whole = np.abs(scaled - np.round(scaled)) < 1e-9
    found: Floats = np.where(whole, size, np.floor(scaled) / parts)
    return np.minimum(found, 1.0)
