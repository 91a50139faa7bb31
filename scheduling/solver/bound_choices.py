"""What each job may choose, as columns of a linear program: its plaster day and the day of its bond coat."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

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
    SPAN,
    Alone,
)
from scheduling.solver.facts import DAY
from scheduling.solver.problem import Problem

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
NEVER = 1 << 60


@dataclass(frozen=True)
class Choices:
    """One row for every job, plaster day and bond day that go together.

    `cost` is the least that the job then costs, `covers` tells whether its plaster covers the clique slot of the
    day; `dry` is the first day of the prep, `earliest` and `due` are slots of the bond day before which the coat
    cannot start and by which it is done; `work` is the prep in person-slots, `coat` the length of the bond coat.
    """

    job: Whole
    plaster: Whole
    cost: Floats
    covers: NDArray[np.bool_]
    dry: Whole
    bond: Whole
    earliest: Whole
    due: Whole
    work: Floats
    coat: Whole


def fill_cost(problem: Problem, job: int, day: int) -> int:
    """Cost of a fill on a day."""
    record, weights = problem.jobs[job], problem.weights
    late = 0 if record.promise_day is None else max(0, day - record.promise_day)
    return weights.fill_day * day + weights.late_day * record.weight * late


def left_out_cost(problem: Problem, job: int) -> int:
    """Cost of leaving a job out."""
    return problem.weights.unplanned + fill_cost(problem, job, problem.horizon_days)


def choices(problem: Problem, lists: Alone, clique: Whole) -> Choices:
    """List the choices of all jobs that are not SIMPLE and cost less than leaving the job out."""
    rows: list[tuple[int, ...]] = []
    for job, facts in enumerate(lists.job):
        if facts[KIND] == SIMPLE:
            continue
        record, out = problem.jobs[job], left_out_cost(problem, job)
        work = 0 if any(stage.stage == "prep" for stage in record.fixed) else record.prep_work
        days = _plaster_days(problem, lists, job, clique)
        for (plaster, bond), (earliest, latest) in sorted(_bond_days(lists, job).items()):
            cost, covers = days.get(plaster, (NEVER, False))
            if cost < out:
                dry, due = max(int(facts[DRY]), 0) // DAY, latest + record.bond_len
                rows.append((job, plaster, cost, covers, dry, bond, earliest, due, work, record.bond_len))
    table = np.array(rows, np.int64).reshape(-1, 10)
    return Choices(
        job=table[:, 0],
        plaster=table[:, 1],
        cost=table[:, 2].astype(float),
        covers=table[:, 3].astype(bool),
        dry=table[:, 4],
        bond=table[:, 5],
        earliest=table[:, 6],
        due=table[:, 7],
        work=table[:, 8].astype(float),
        coat=table[:, 9],
    )


def clique_slots(lists: Alone, days: int) -> Whole:
    """The slot of each day that most plaster stints could cover."""
    cover = np.zeros((days, DAY), np.int64)
    for row in lists.plaster:
        day, start = divmod(int(row[AT]), DAY)
        cover[day, start : start + int(row[SPAN])] += 1
    best: Whole = cover.argmax(axis=1)
    return best


def _plaster_days(problem: Problem, lists: Alone, job: int, clique: Whole) -> dict[int, tuple[int, bool]]:
    """Least cost after plastering on each day, and whether every such stint covers the clique slot."""
    facts = lists.job[job]
    fills = lists.fill[facts[FILL_FROM] : facts[FILL_TO]]
    if not len(fills):
        return {}
    by_day = np.array([fill_cost(problem, job, day) for day in range(problem.horizon_days)] + [NEVER], np.int64)
    best = np.minimum(by_day[fills[:, DAY_ONE]], by_day[fills[:, DAY_TWO]])
    found: dict[int, tuple[int, bool]] = {}
    for row in lists.plaster[facts[PLASTER_FROM] : facts[PLASTER_TO]]:
        first = np.searchsorted(fills[:, AT], row[FIRST_FILL])
        last = np.searchsorted(fills[:, AT], row[LAST_FILL], side="right")
        if first < last:
            day, start = divmod(int(row[AT]), DAY)
            cost, covers = found.get(day, (NEVER, True))
            covers = covers and start <= clique[day] < start + int(row[SPAN])
            found[day] = min(cost, int(best[first:last].min())), bool(covers)
    return found


def _bond_days(lists: Alone, job: int) -> dict[tuple[int, int], tuple[int, int]]:
    """First and last start of the bond coat on its day, for each plaster day and bond day that go together."""
    facts = lists.job[job]
    plasters = lists.plaster[facts[PLASTER_FROM] : facts[PLASTER_TO], AT]
    found: dict[tuple[int, int], tuple[int, int]] = {}
    for row in lists.bond[facts[BOND_FROM] : facts[BOND_TO]]:
        if row[AT] < facts[DRESSED]:
            continue
        day, start = divmod(int(row[AT]), DAY)
        young = plasters[(plasters >= row[FIRST_PLASTER]) & (plasters <= row[LAST_PLASTER])]
        for plaster in {int(slot) // DAY for slot in young}:
            first, last = found.get((plaster, day), (start, start))
            found[plaster, day] = min(first, start), max(last, start)
    return found
