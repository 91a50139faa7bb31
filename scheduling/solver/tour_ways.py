"""Shortest ways through sets of sites, as bits of a whole number (dynamic program of Held, Karp 1962)."""

from typing import Any

import numpy as np

from scheduling.solver.bound_choices import Floats, Whole
from scheduling.solver.problem import Problem, metres

ROUNDING_M = 20


def shortest_ways(from_start: Any, apart: Any, to_end: Any) -> Floats:
    """Least way by set: from the start through all its sites to the end; 0 for the empty set."""
    count = len(from_start)
    legs = np.array(apart, float).reshape(count, count)
    best = np.full((1 << count, count), np.inf)
    for at in range(count):
        best[1 << at, at] = from_start[at]
    for sites in range(1, 1 << count):
        reach = (best[sites][:, None] + legs).min(axis=0)
        for last in range(count):
            if not sites >> last & 1:
                grown = sites | 1 << last
                best[grown, last] = min(best[grown, last], reach[last])
    ways: Floats = (best + np.array(to_end, float)).min(axis=1, initial=np.inf)
    ways[0] = 0.0
    return ways


def sizes(count: int) -> Whole:
    """Number of sites of every set."""
    return np.array([sites.bit_count() for sites in range(1 << count)], np.int64)


def tours(problem: Problem, crew: int, jobs: list[int]) -> Floats:
    """Metres of the shortest tour from a crew's base, by set of sites.

    Metres are rounded down leg by leg, so that a tour with more sites may be a metre a leg shorter: taken off here.
    """
    places = [problem.jobs[job].site for job in jobs]
    away = [metres(problem.crews[crew].base, place) for place in places]
    apart = [[metres(here, there) for there in places] for here in places]
    found: Floats = np.maximum(shortest_ways(away, apart, away) - sizes(len(jobs)) - ROUNDING_M, 0.0)
    return found
