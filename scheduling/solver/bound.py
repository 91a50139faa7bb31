"""What no plan can undercut: the Lagrangian bound, with the travel or for the main part alone."""

from dataclasses import dataclass
from math import ceil, floor, gcd

import numpy as np
from numpy.typing import NDArray

from scheduling.solver.bound_model import AT, PLASTER_FROM, PLASTER_TO, SPAN, Alone, alone
from scheduling.solver.bound_prices import CLIQUE, Market, raise_bound
from scheduling.solver.bound_start import first_tolls
from scheduling.solver.calendar_arrays import empty_calendar
from scheduling.solver.facts import DAY
from scheduling.solver.placing import explore_alone
from scheduling.solver.problem import Problem, metres
from scheduling.solver.profiles import scratch
from scheduling.solver.tables import PREP_ROW, tables

ROUNDING_M = 40
PACE = 0.05
MEMORY = 0.8


@dataclass(frozen=True, slots=True)
class Bounds:
    """Bounds on the main part (days late, fill days, jobs left out) and on the whole objective."""

    main: int
    whole: int


class BoundSearch:
    """Raises the bound step by step; the result is valid after any number of steps."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.table = tables(problem)
        calendar = empty_calendar(self.table)
        self.room = scratch(self.table, 0)
        explore_alone(self.table, calendar, self.room)
        self.lists = alone(self.table, calendar, self.room)
        self.markets = [self._market(travel=False), self._market(travel=True)]
        limits = self.markets[0]
        tolls = first_tolls(problem, self.lists, limits.crew[0], limits.day[0, 0] / CLIQUE)
        for market in self.markets:
            market.crew[1] = market.crew[3] = tolls[0]
            market.day[1, 0] = market.day[3, 0] = tolls[1] / CLIQUE
        self.paces = [np.array([PACE, 0.0, -1e18, MEMORY]) for _ in self.markets]

    def improve(self, main: int, whole: int, steps: int) -> Bounds:
        """Take some steps towards the costs of the best plan known (its main part, and the whole)."""
        found = [
            raise_bound(self.table, self.room, market, self.lists, 1000.0 * target, steps, pace)
            for market, target, pace in zip(self.markets, (main, whole), self.paces, strict=True)
        ]
        return Bounds(main=self._rounded(found[0]), whole=max(floor(found[1] / 1000 - 1e-6), self._rounded(found[0])))

    def guide(self) -> NDArray[np.int64]:
        """Tolls [thousandths] of a slot of a crew's day by skill (water, prep, plaster): what the time is worth."""
        market = self.markets[1]
        crew, (plaster, water) = market.crew[3], market.day[3]
        planes = [np.broadcast_to(water, crew.shape), crew, crew + plaster[None, :]]
        return np.round(np.stack(planes)).astype(np.int64)

    def _rounded(self, bound: float) -> int:
        """The main part is a multiple of what all prices have in common."""
        weights = self.problem.weights
        unit = gcd(weights.fill_day, weights.late_day, weights.unplanned) or 1
        return max(0, unit * ceil((bound / 1000 - 1e-3) / unit))

    def _market(self, *, travel: bool) -> Market:
        problem, table = self.problem, self.table
        crews, days, jobs = len(problem.crews), problem.horizon_days, len(problem.jobs)
        shift = np.zeros((crews, problem.end), np.int32)
        for at, crew in enumerate(problem.crews):
            for first, last in crew.shifts:
                shift[at, first:last] = 1
        need = self.water_need()
        clique = _clique(self.lists, days)
        crew_planes, day_planes = np.zeros((5, crews, days)), np.zeros((5, 2, days))
        crew_planes[0] = shift.reshape(crews, days, DAY).sum(axis=2)
        spare = int(need.max(initial=0))
        for at, crew in enumerate(problem.crews):
            if "water" in crew.skills:
                day_planes[0, 1] += crew_planes[0, at] + spare * (crew_planes[0, at] > 0)
            if "plaster" in crew.skills:
                day_planes[0, 0] += shift[at, clique + DAY * np.arange(days)]
        self._take_fixed(crew_planes[0], day_planes[0], shift, clique)
        day_planes[0, 0] = CLIQUE * np.minimum(day_planes[0, 0], problem.rigs)
        prep = [at for at in range(crews) if table.crew[at, PREP_ROW] >= 0]
        shift_slots = np.zeros((len(prep), problem.end + 1), np.int32)
        shift_slots[:, 1:] = np.cumsum(shift[prep], axis=1)
        ride, water_ride = self._rides(crew_planes[0], need) if travel else (np.zeros((crews, jobs)), np.zeros(jobs))
        widest = max(problem.end + 1, len(self.lists.fill), len(self.lists.plaster))
        return Market(
            crew=crew_planes,
            day=day_planes,
            shift_slots=shift_slots,
            paid=np.zeros((len(prep), problem.end + 1)),
            clique=clique + DAY * np.arange(days),
            ride=ride,
            water_need=need,
            water_ride=water_ride,
            onward=np.zeros((4, widest)),
            chosen=np.zeros((jobs, 3), np.int64),
        )

    def water_need(self) -> NDArray[np.int64]:
        """Least slots on the road after a water stint; 0 if two stints of one job might follow each other."""
        problem = self.problem
        days = [day for s in problem.rules.startup for day in range(s.day - s.tol, s.day + s.tol + 1)]
        sites = [job.site for job in problem.jobs]
        need = np.zeros(len(sites), np.int64)
        if len(set(days)) < len(days) or min(days, default=1) < 1 or len(set(sites)) < len(sites) or len(sites) < 2:
            return need
        for at, here in enumerate(sites):
            need[at] = min(problem.travel_slots(here, there) for there in sites if there != here)
        return need

    def _take_fixed(
        self,
        crew_limit: NDArray[np.float64],
        day_limit: NDArray[np.float64],
        shift: NDArray[np.int32],
        clique: NDArray[np.int64],
    ) -> None:
        """Take what the fixed stages use out of the limits."""
        problem = self.problem
        index = {crew.id: at for at, crew in enumerate(problem.crews)}
        for job in problem.jobs:
            for stage in job.fixed:
                at = index[stage.crew]
                for day in range(max(stage.start, 0) // DAY, (stage.end - 1) // DAY + 1):
                    first, last = max(stage.start, DAY * day), min(stage.end, DAY * day + DAY)
                    used = int(shift[at, first:last].sum())
                    crew_limit[at, day] = max(0, crew_limit[at, day] - used)
                    noon = DAY * day + int(clique[day])
                    if stage.stage == "plaster" and first <= noon < last and shift[at, noon]:
                        day_limit[0, day] -= 1
                    if problem.skill(stage.stage) == "water" and "water" in problem.crews[at].skills:
                        day_limit[1, day] = max(0, day_limit[1, day] - used)

    def _rides(
        self, limit: NDArray[np.float64], need: NDArray[np.int64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Price of the way to a site and back for each slot of a crew's day; the water stints' share of it."""
        problem, price = self.problem, self.problem.weights.travel_km
        spare = int(need.max(initial=0))
        ride = np.zeros((len(problem.crews), len(problem.jobs)))
        water_ride = np.zeros(len(problem.jobs))
        for at, crew in enumerate(problem.crews):
            longest = max((sum(1 for _ in range(a, b)) for a, b in crew.shifts), default=1)
            per_day: dict[int, int] = {}
            for first, last in crew.shifts:
                per_day[first // DAY] = per_day.get(first // DAY, 0) + last - first
            longest = max(per_day.values(), default=1) + (spare if "water" in crew.skills else 0)
            for job_at, job in enumerate(problem.jobs):
                ride[at, job_at] = 2 * price * max(0, metres(crew.base, job.site) - ROUNDING_M) / longest
        water = [at for at, crew in enumerate(problem.crews) if "water" in crew.skills]
        for job_at, job in enumerate(problem.jobs):
            fixed = {stage.stage for stage in job.fixed}
            slots = job.drain_setup_len * ("drain_setup" not in fixed) + job.drain_pull_len * (
                "drain_pull" not in fixed
            )
            slots += job.fill_end_len * ("fill_end" not in fixed)
            slots += (job.fill_start_len + int(need[job_at])) * ("fill_start" not in fixed)
            for startup in problem.rules.startup:
                slots += (startup.len + int(need[job_at])) * (startup.stage not in fixed)
            water_ride[job_at] = slots * min((ride[at, job_at] for at in water), default=0.0)
        return ride, water_ride


def _clique(lists: Alone, days: int) -> NDArray[np.int64]:
    """The slot of each day that most plaster stints could cover."""
    cover = np.zeros((days, DAY), np.int64)
    for first, last in lists.job[:, [PLASTER_FROM, PLASTER_TO]]:
        for row in lists.plaster[first:last]:
            day, start = divmod(int(row[AT]), DAY)
            cover[day, start : start + int(row[SPAN])] += 1
    best: NDArray[np.int64] = cover.argmax(axis=1)
    return best
