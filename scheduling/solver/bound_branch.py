"""A higher bound on the whole objective of a small problem: branch on the days of the fills, weakest branch first."""

import heapq
from collections.abc import Iterator

from scheduling.solver.bound_tours import TourBound

WHOLE = 1e-6
Days = dict[int, frozenset[int]]


def rising(tours: TourBound, known: int) -> Iterator[float]:
    """Bounds on the objective, one after every branch, until they reach `known`.

    Parameters
    ----------
    tours
        The linear program of the problem.
    known
        Objective of a plan, which keeps to the windows of the program.
    """
    days: Days = {job: frozenset(by_day) for job, by_day in tours.fill_on.items()}
    first = tours.solve()
    if first is None:
        yield float(known)
        return
    waiting = [(first, 0, days, tours.fill_shares())]
    yield min(first, float(known))
    made = 0
    while waiting and waiting[0][0] < known:
        bound, _, days, shares = heapq.heappop(waiting)
        job, early, late = _split(days, shares)
        if not late:
            return
        for part in (early, late):
            made += 1
            mine = days | {job: part}
            for other, kept in mine.items():
                tours.keep(other, kept)
            found = tours.solve()
            if found is not None and found < known:
                heapq.heappush(waiting, (max(found, bound), made, mine, tours.fill_shares()))
        yield min(waiting[0][0] if waiting else float(known), float(known))


def _split(days: Days, shares: dict[int, dict[int, float]]) -> tuple[int, frozenset[int], frozenset[int]]:
    """The job whose fill day is spread most, and its days before and from a day near the middle of the spread."""
    widest, best = 0.0, (-1, frozenset[int](), frozenset[int]())
    for job, by_day in shares.items():
        total = sum(by_day.values())
        if total <= WHOLE:
            continue
        mean = sum(day * share for day, share in by_day.items()) / total
        spread = sum(abs(day - mean) * share for day, share in by_day.items()) / total
        early = frozenset(day for day in days[job] if day <= mean)
        if spread > widest + WHOLE and early and early != days[job]:
            widest, best = spread, (job, early, days[job] - early)
    return best
