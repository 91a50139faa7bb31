"""What no plan can undercut when the crews' time is shared among all skills: a linear program.

Beside its plaster and bond day every job chooses a fill day.  Crews of equal skills and people share one pool of
slots a day, out of which come their visits to the water, their bond coats, plaster days and preps.  Visits that must
lie in a span of days take no more than the pools give the water in it, each with one slot on the road (one visit a
shift goes without); likewise the preps, in person-slots, and the drains, which hold pumps.  The spans are added
where a solution breaks them.

Its worth: nothing where crews have time (usual kinds, up to 60 jobs), up to 6 % where the water crews are short.
Tried and dropped: the same spans without pools, each skill against all crews that have it (crews with two skills
count twice: no gain); bond coats among the preps of a span (no gain).
"""

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import csr_array

from scheduling.solver.bound import Bounds, BoundSearch, days_apart, road_spare
from scheduling.solver.bound_choices import Floats, Whole, fill_cost, left_out_cost
from scheduling.solver.bound_model import (
    AT,
    DAY_ONE,
    DAY_TWO,
    FILL_FROM,
    FILL_TO,
    FIRST_FILL,
    LAST_FILL,
    PLASTER_FROM,
    PLASTER_TO,
)
from scheduling.solver.facts import DAY, Crew
from scheduling.solver.problem import Problem, prep_slots

untyped_linprog: Any = linprog
WATER, PREP, BOND, PLASTER, PUMP = range(5)
SKILLS = ("water", "prep", "prep", "plaster")
SPANS_A_ROUND = 60
ROUNDS = 6
FEW_JOBS = 150


@dataclass(frozen=True)
class Items:
    """Loads that a column brings along: `size` in days `first` to `last`, whichever of them."""

    column: Whole
    size: Floats
    first: Whole
    last: Whole


class PoolBound:
    """The linear program of a problem; `bounds` are those of the search, raised."""

    def __init__(self, search: BoundSearch, rounds: int | None = None) -> None:
        self.search, self.problem = search, search.problem
        self.days = self.problem.horizon_days
        self.bounds = search.bounds
        self.rows: list[tuple[Whole, Floats, float]] = []
        if not len(search.choices.job):
            return
        self.road = road_spare(self.problem, search.need)
        self._columns()
        self._pools()
        self._links()
        self._each_day()
        self.items = {WATER: self._visits(), PREP: self._preps(), PUMP: self._drains()}
        self.bounds = self._solve((ROUNDS if len(self.problem.jobs) <= FEW_JOBS else 1) if rounds is None else rounds)

    def _columns(self) -> None:
        """Columns: choices of plaster and bond day, fill days, leaving out, slots of the pools."""
        search = self.search
        self.fills = fill_choices(search)
        count = len(search.choices.job)
        self.fill_at = count
        self.out_at = count + len(self.fills)
        self.pool_at = self.out_at + len(search.deciding)
        self.number = {int(job): at for at, job in enumerate(search.deciding)}

    def _pools(self) -> None:
        """Slots of each class of crews on each day, and what they may be used for."""
        classes: dict[tuple[tuple[str, ...], int], list[int]] = defaultdict(list)
        for at, crew in enumerate(self.problem.crews):
            classes[tuple(sorted(crew.skills)), crew.people].append(at)
        self.use: dict[int, list[tuple[int, int]]] = {kind: [] for kind in (WATER, PREP, BOND, PLASTER)}
        at = self.pool_at
        for (skills, people), crews in classes.items():
            slots = self.search.shift[crews].sum(axis=(0, 2))
            if "water" in skills:
                slots = slots + self.road * sum(shifts_a_day(self.problem.crews[crew], self.days) for crew in crews)
            kinds = [kind for kind in self.use if SKILLS[kind] in skills]
            for nth, kind in enumerate(kinds):
                self.use[kind].append((at + nth * self.days, people))
            for day in range(self.days):
                columns = np.array([at + nth * self.days + day for nth in range(len(kinds))], np.int64)
                self.rows.append((columns, np.ones(len(kinds)), float(slots[day])))
            at += len(kinds) * self.days
        self.width = at

    def _links(self) -> None:
        """Each job takes one choice or none, and fills on a day that its plaster day allows."""
        search, choices = self.search, self.search.choices
        pairs = {(int(job), int(day)) for job, day in zip(choices.job, choices.plaster, strict=True)}
        pairs |= {(job, plaster) for job, plaster, *_ in self.fills}
        row_of = {pair: len(search.deciding) + at for at, pair in enumerate(sorted(pairs))}
        rows, columns, values = [], [], []
        for column, (job, day) in enumerate(zip(choices.job, choices.plaster, strict=True)):
            rows += [self.number[int(job)], row_of[int(job), int(day)]]
            columns += [column, column]
            values += [1.0, 1.0]
        for at, (job, plaster, *_) in enumerate(self.fills):
            rows.append(row_of[job, plaster])
            columns.append(self.fill_at + at)
            values.append(-1.0)
        for at in range(len(search.deciding)):
            rows.append(at)
            columns.append(self.out_at + at)
            values.append(1.0)
        height = len(search.deciding) + len(pairs)
        self.equal = csr_array((values, (rows, columns)), shape=(height, self.width))
        self.equal_to = np.concatenate([np.ones(len(search.deciding)), np.zeros(len(pairs))])

    def _each_day(self) -> None:
        """Bond coats and plaster days of a day take slots of its pools."""
        choices = self.search.choices
        least: dict[tuple[int, int], int] = {}
        for job, record in enumerate(self.problem.jobs):
            for row in record.plaster_days:
                least[job, row.day] = min(row.len, least.get((job, row.day), row.len))
        lengths = np.array(
            [least[int(job), int(day)] for job, day in zip(choices.job, choices.plaster, strict=True)], float
        )
        for kind, on, size in ((BOND, choices.bond, choices.coat.astype(float)), (PLASTER, choices.plaster, lengths)):
            for day in np.unique(on):
                inside = np.flatnonzero(on == day)
                self._add(inside, size[inside], kind, int(day), int(day))

    def _add(self, columns: Whole, sizes: Floats, kind: int, first: int, last: int) -> None:
        """Loads on days `first` to `last` take no more than the pools give this kind of work there."""
        given, worth = [], []
        for at, people in self.use[kind]:
            given += list(range(at + first, at + last + 1))
            worth += [float(people if kind == PREP else 1)] * (last - first + 1)
        self.rows.append(
            (np.concatenate([columns, np.array(given, np.int64)]), np.concatenate([sizes, -np.array(worth)]), 0.0)
        )

    def _visits(self) -> Items:
        """Visits to the water, with a slot on the road where the crew cannot be on the site already."""
        problem, choices, road = self.problem, self.search.choices, self.road
        apart = road if days_apart(problem) else 0
        longest = longest_day(problem, "water")
        found: list[tuple[int, int, int, int]] = []
        for at, (job, _, day, first, last) in enumerate(self.fills):
            record, column = problem.jobs[job], self.fill_at + at
            between = record.fill_start_len + record.fill_len - problem.rules.fill_end_early + record.fill_end_len
            found.append((column, record.fill_start_len + road, first, last))
            found.append((column, record.fill_end_len + road * (between > longest), day, day))
            for row in problem.rules.startup:
                found.append((column, row.len + apart, day + row.day - row.tol, day + row.day + row.tol))
        for column, (job, bond) in enumerate(zip(choices.job, choices.bond, strict=True)):
            record = problem.jobs[int(job)]
            fixed = {stage.stage for stage in record.fixed}
            setup = (record.drain_setup_len + road) * ("drain_setup" not in fixed)
            pull = record.drain_pull_len * ("drain_pull" not in fixed)
            if setup or pull:
                far = record.drain_setup_len + record.pump_len + record.drain_pull_len > longest
                low = max(problem.now, record.earliest, 0) // DAY
                found.append((column, setup + pull + road * bool(pull and (far or not setup)), low, int(bond)))
        table = np.array(found, np.int64).reshape(-1, 4)
        limits = 0, self.days - 1
        return Items(
            table[:, 0], table[:, 1].astype(float), np.clip(table[:, 2], *limits), np.clip(table[:, 3], *limits)
        )

    def _preps(self) -> Items:
        """Preps in person-slots, as whole slots of the crew that wastes least."""
        choices, problem = self.search.choices, self.problem
        crews = [crew for crew in problem.crews if "prep" in crew.skills]
        whole = np.array(
            [min((prep_slots(job, c) * c.people for c in crews), default=0) for job in problem.jobs], float
        )
        work = np.where(choices.work > 0, whole[choices.job], 0.0)
        at = np.flatnonzero(work > 0)
        return Items(at, work[at], choices.dry[at], choices.bond[at])

    def _drains(self) -> Items:
        """Slots for which a drain holds a pump at least."""
        choices, found = self.search.choices, list[tuple[int, int, int, int]]()
        for column, (job, bond) in enumerate(zip(choices.job, choices.bond, strict=True)):
            record = self.problem.jobs[int(job)]
            if not any(stage.stage in ("drain_setup", "drain_pull") for stage in record.fixed):
                held = record.drain_setup_len + record.pump_len + record.drain_pull_len
                low = max(self.problem.now, record.earliest, 0) // DAY
                found.append((column, held, low, int(bond)))
        table = np.array(found, np.int64).reshape(-1, 4)
        return Items(table[:, 0], table[:, 1].astype(float), table[:, 2], table[:, 3])

    def _solve(self, rounds: int) -> Bounds:
        search = self.search
        costs = np.zeros(self.width)
        for at, (job, _, day, *_) in enumerate(self.fills):
            costs[self.fill_at + at] = fill_cost(self.problem, job, day)
        for at, job in enumerate(search.deciding):
            costs[self.out_at + at] = left_out_cost(self.problem, int(job))
        main = self._cut(costs, rounds)
        with_ride = costs.copy()
        with_ride[: self.fill_at] += search.costs_with_ride[: self.fill_at] - search.costs[: self.fill_at]
        whole = float(self._linear(with_ride).fun)
        raised = search.rounded(search.beside + main, search.beside + whole)
        return Bounds(max(raised.main, self.bounds.main), max(raised.whole, self.bounds.whole))

    def _cut(self, costs: Floats, rounds: int) -> float:
        """Solve, add the spans whose loads are more than the pools give, and solve again."""
        done: set[tuple[int, int, int]] = set()
        for day in range(self.days):
            done.add((WATER, day, day))
            self._limit(WATER, day, day)
        result = self._linear(costs)
        for _ in range(rounds):
            broken = [span for span in self._broken(result.x) if span not in done]
            if not broken:
                break
            for span in broken:
                done.add(span)
                self._limit(*span)
            result = self._linear(costs)
        return float(result.fun)

    def _limit(self, kind: int, first: int, last: int) -> None:
        items = self.items[kind]
        inside = np.flatnonzero((items.first >= first) & (items.last <= last))
        if len(inside):
            columns, at = np.unique(items.column[inside], return_inverse=True)
            sizes = np.bincount(at, items.size[inside]).astype(float)
            if kind == PUMP:
                self.rows.append((columns, sizes, float(self.problem.pumps * DAY * (last - first + 1))))
            else:
                self._add(columns, sizes, kind, first, last)

    def _broken(self, x: Floats) -> list[tuple[int, int, int]]:
        """Spans (kind, first day, last day) whose loads exceed what the pools give, the worst of each kind."""
        found: list[tuple[int, int, int]] = []
        for kind, items in self.items.items():
            load = np.zeros((self.days, self.days))
            np.add.at(load, (items.first, items.last), items.size * x[items.column])
            within = np.cumsum(np.cumsum(load[::-1], axis=0)[::-1], axis=1)
            given = np.full(self.days, float(self.problem.pumps * DAY if kind == PUMP else 0))
            for at, people in self.use.get(kind, ()):
                given += x[at : at + self.days] * (people if kind == PREP else 1)
            room = np.concatenate([[0.0], np.cumsum(given)])
            excess = np.where(np.triu(np.ones_like(load, bool)), within - (room[None, 1:] - room[:-1, None]), 0.0)
            order = np.argsort(-excess, axis=None)[:SPANS_A_ROUND]
            found += [(kind, int(at) // self.days, int(at) % self.days) for at in order if excess.flat[at] > 1e-3]
        return found

    def _linear(self, costs: Floats) -> Any:
        own = self.search.rows
        columns = [*own.columns, *(row[0] for row in self.rows)]
        values = [*own.values, *(row[1] for row in self.rows)]
        limits = np.array([*own.limits, *(row[2] for row in self.rows)])
        rows = np.repeat(np.arange(len(columns)), [len(row) for row in columns])
        matrix = csr_array(
            (np.concatenate(values), (rows, np.concatenate(columns).astype(np.int64))), shape=(len(columns), self.width)
        )
        result = untyped_linprog(
            costs,
            A_ub=matrix,
            b_ub=limits,
            A_eq=self.equal,
            b_eq=self.equal_to,
            bounds=(0, None),
            method="highs",
        )
        if result.status != 0:
            raise AssertionError(f"The relaxation could not be solved: {result.message}")
        return result


def fill_choices(search: BoundSearch) -> list[tuple[int, int, int, int, int]]:
    """Rows (job, plaster day, fill day, first and last day on which such a fill can start)."""
    found: dict[tuple[int, int, int], tuple[int, int]] = {}
    lists = search.lists
    for job in (int(job) for job in search.deciding):
        facts = lists.job[job]
        fills = lists.fill[facts[FILL_FROM] : facts[FILL_TO]]
        for row in lists.plaster[facts[PLASTER_FROM] : facts[PLASTER_TO]]:
            plaster = int(row[AT]) // DAY
            first = np.searchsorted(fills[:, AT], row[FIRST_FILL])
            last = np.searchsorted(fills[:, AT], row[LAST_FILL], side="right")
            for slot, one, two in fills[first:last][:, (AT, DAY_ONE, DAY_TWO)].tolist():
                for day in (one, two):
                    if day >= 0:
                        key = job, plaster, day
                        low, high = found.get(key, (slot // DAY, slot // DAY))
                        found[key] = min(low, slot // DAY), max(high, slot // DAY)
    return [(*key, *span) for key, span in sorted(found.items())]


def shifts_a_day(crew: Crew, days: int) -> Whole:
    """Number of shifts of a crew on each day."""
    return np.bincount([first // DAY for first, _ in crew.shifts], minlength=days)


def longest_day(problem: Problem, skill: str) -> int:
    """Slots from the first to the last of the longest day of a crew with a skill."""
    spans: dict[tuple[str, int], tuple[int, int]] = {}
    for crew in problem.crews:
        if skill in crew.skills:
            for first, last in crew.shifts:
                low, high = spans.get((crew.id, first // DAY), (first, last))
                spans[crew.id, first // DAY] = min(low, first), max(high, last)
    return max((high - low for low, high in spans.values()), default=0)
