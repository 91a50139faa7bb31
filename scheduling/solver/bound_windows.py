"""What a plan no dearer than one that is known can look like: the days that its jobs can still choose.

A choice whose reduced cost in the linear relaxation exceeds the distance between the known plan and the bound is in
no better plan [reduced cost fixing, Dantzig, Fulkerson, Johnson 1954, Operations Research 2].
"""

from dataclasses import dataclass

import numpy as np

from scheduling.solver.bound import BoundSearch
from scheduling.solver.bound_choices import fill_cost
from scheduling.solver.bound_model import KIND, SIMPLE


@dataclass(frozen=True, slots=True)
class Window:
    """Days that are left to one job, and whether it may be left out."""

    fills: frozenset[int]
    plasters: frozenset[int]
    bonds: frozenset[int]
    out: bool

    @property
    def never(self) -> bool:
        """Tell whether the job must be left out."""
        return not (self.fills and self.plasters and self.bonds)


def windows(search: BoundSearch, limit: int, *, ride: bool = False) -> list[Window]:
    """Windows of all jobs in the plans whose main part (`ride`: whole objective) is at most `limit`.

    The window of a SIMPLE job is not looked at by anyone and holds all days.
    """
    found = []
    slack, reduced, out_reduced = search.reduced_costs(limit, ride=ride)
    choices, problem = search.choices, search.problem
    every = frozenset(range(problem.horizon_days))
    for job, facts in enumerate(search.lists.job):
        if facts[KIND] == SIMPLE:
            found.append(Window(every, every, every, out=True))
            continue
        mine = np.flatnonzero((choices.job == job) & (reduced <= slack))
        possible = np.flatnonzero(search.room.possible[job])
        costs = np.array([fill_cost(problem, job, int(day)) for day in possible], float)
        least = (reduced[mine] - choices.cost[mine]).min(initial=np.inf)
        found.append(
            Window(
                fills=frozenset(possible[costs + least <= slack].tolist()),
                plasters=frozenset(choices.plaster[mine].tolist()),
                bonds=frozenset(choices.bond[mine].tolist()),
                out=out_reduced.get(job, -np.inf) <= slack,
            )
        )
    return found
