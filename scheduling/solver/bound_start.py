"""First tolls for the Lagrangian bound: the dual prices of a small linear program.

A job takes a plaster day (or is left out); days have so many plaster crews; and the preps that must lie between two
days cannot take more person-slots than the prep crews have between them.  Such rows are added as they are broken.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog
from scipy.sparse import csr_array

from scheduling.solver.bound_model import (
    AT,
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
    Alone,
)
from scheduling.solver.facts import DAY
from scheduling.solver.problem import Problem

ROUNDS = 12
ROWS_A_ROUND = 25
Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True)
class Choices:
    """Every (job, plaster day): its least cost, first and last day of its prep, and person-slots of prep."""

    job: Whole
    day: Whole
    cost: Floats
    first: Whole
    last: Whole
    work: Floats


def fill_cost(problem: Problem, job: int, day: int) -> int:
    """Cost of a fill on a day."""
    record, weights = problem.jobs[job], problem.weights
    late = 0 if record.promise_day is None else max(0, day - record.promise_day)
    return weights.fill_day * day + weights.late_day * record.weight * late


def left_out_cost(problem: Problem, job: int) -> int:
    """Cost of leaving a job out."""
    return problem.weights.unplanned + fill_cost(problem, job, problem.horizon_days)


def choices(problem: Problem, lists: Alone) -> Choices:
    """List the plaster days of all jobs that are not SIMPLE."""
    rows: list[tuple[int, int, int, int, int, int]] = []
    for job, facts in enumerate(lists.job):
        if facts[KIND] == SIMPLE:
            continue
        record = problem.jobs[job]
        work = 0 if any(stage.stage == "prep" for stage in record.fixed) else record.prep_work
        costs = plaster_costs(problem, lists, job)
        last = _last_prep_days(lists, job)
        out = left_out_cost(problem, job)
        for day in sorted(costs.keys() & last.keys()):
            if costs[day] < out:
                rows.append((job, day, costs[day], max(int(facts[DRY]), 0) // DAY, last[day], work))
    table = np.array(rows, np.int64).reshape(-1, 6)
    return Choices(
        table[:, 0], table[:, 1], table[:, 2].astype(float), table[:, 3], table[:, 4], table[:, 5].astype(float)
    )


def plaster_costs(problem: Problem, lists: Alone, job: int) -> dict[int, int]:
    """Least cost of a job after plastering on each day."""
    facts = lists.job[job]
    fills = lists.fill[facts[FILL_FROM] : facts[FILL_TO]]
    if not len(fills):
        return {}
    by_day = np.array([fill_cost(problem, job, day) for day in range(problem.horizon_days)] + [1 << 60], np.int64)
    best = np.minimum(by_day[fills[:, DAY_ONE]], by_day[fills[:, DAY_TWO]])
    found: dict[int, int] = {}
    for row in lists.plaster[facts[PLASTER_FROM] : facts[PLASTER_TO]]:
        first = np.searchsorted(fills[:, AT], row[FIRST_FILL])
        last = np.searchsorted(fills[:, AT], row[LAST_FILL], side="right")
        if first < last:
            day = int(row[AT]) // DAY
            found[day] = min(found.get(day, 1 << 60), int(best[first:last].min()))
    return found


def _last_prep_days(lists: Alone, job: int) -> dict[int, int]:
    """The last day on which the prep may end, for each plaster day."""
    facts = lists.job[job]
    plasters = lists.plaster[facts[PLASTER_FROM] : facts[PLASTER_TO], AT]
    found: dict[int, int] = {}
    for row in lists.bond[facts[BOND_FROM] : facts[BOND_TO]]:
        if row[AT] < facts[DRESSED]:
            continue
        young = plasters[(plasters >= row[FIRST_PLASTER]) & (plasters <= row[LAST_PLASTER])]
        for day in {int(slot) // DAY for slot in young}:
            found[day] = max(found.get(day, 0), int(row[AT]) // DAY)
    return found


def first_tolls(problem: Problem, lists: Alone, crew_limit: Floats, plaster_limit: Floats) -> tuple[Floats, Floats]:
    """Tolls [thousandths] of a slot of each crew's day, and of a plaster stint on each day."""
    options = choices(problem, lists)
    people = np.array([crew.people if "prep" in crew.skills else 0 for crew in problem.crews], float)
    capacity = np.concatenate([[0.0], np.cumsum(people @ crew_limit)])
    jobs, columns = np.unique(options.job, return_inverse=True)
    count, days = len(options.job), problem.horizon_days
    crew_toll, plaster_toll = np.zeros_like(crew_limit), np.zeros(days)
    if not count:
        return crew_toll, plaster_toll
    cost = np.concatenate([options.cost, [float(left_out_cost(problem, int(job))) for job in jobs]])
    each = csr_array(
        (np.ones(count + len(jobs)), (np.concatenate([columns, np.arange(len(jobs))]), np.arange(count + len(jobs))))
    )
    spans: list[tuple[int, int]] = []
    while True:
        result = linprog(  # type: ignore[call-overload]  # sparse rows are taken; the stubs do not say so
            cost,
            A_ub=_limits(options, spans, days, count + len(jobs)),
            b_ub=np.concatenate([plaster_limit, [capacity[last + 1] - capacity[first] for first, last in spans]]),
            A_eq=each,
            b_eq=np.ones(len(jobs)),
            bounds=(0, None),
            method="highs",
        )
        if result.status != 0:
            return crew_toll, plaster_toll
        prices = -1000.0 * np.asarray(result.ineqlin.marginals)
        plaster_toll = np.maximum(prices[:days], 0.0)
        crew_toll = np.zeros_like(crew_limit)
        for (first, last), price in zip(spans, prices[days:], strict=True):
            crew_toll[:, first : last + 1] += max(price, 0.0) * people[:, None]
        broken = _broken(options, np.asarray(result.x)[:count], capacity, days)
        new = [span for span in broken if span not in spans][:ROWS_A_ROUND]
        if not new or len(spans) >= ROUNDS * ROWS_A_ROUND:
            return crew_toll, plaster_toll
        spans += new


def _limits(options: Choices, spans: list[tuple[int, int]], days: int, width: int) -> csr_array:
    """Rows: plaster stints of each day, person-slots of each span of days."""
    rows, columns, values = [options.day], [np.arange(len(options.day))], [np.ones(len(options.day))]
    for at, (first, last) in enumerate(spans):
        within = np.flatnonzero((options.first >= first) & (options.last <= last))
        rows.append(np.full(len(within), days + at))
        columns.append(within)
        values.append(options.work[within])
    shape = (days + len(spans), width)
    return csr_array((np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))), shape=shape)


def _broken(options: Choices, share: Floats, capacity: Floats, days: int) -> list[tuple[int, int]]:
    """Spans of days in which the preps chosen take more than there is, the worst first."""
    load = np.zeros((days, days))
    np.add.at(load, (options.first, options.last), options.work * share)
    within = np.cumsum(np.cumsum(load[::-1], axis=0)[::-1], axis=1)
    room = capacity[None, 1:] - capacity[:-1, None]
    excess = np.where(np.triu(np.ones((days, days), bool)), within - room, 0.0)
    order = np.argsort(-excess, axis=None)[: 4 * ROWS_A_ROUND]
    return [(int(at) // days, int(at) % days) for at in order if excess.flat[at] > 1e-6 * max(capacity[-1], 1.0)]
