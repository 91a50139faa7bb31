"""Where else a stint could go: what it would cost, and whom it would push.

A stint is put at another start or into other hands.  Where nothing else has to move, nothing does; where the later
(or earlier) stages of its job do not fit any more they are planned anew around it; where another pool stands in the
way, that pool gives way and is planned anew after it.  Every answer is a plan that keeps all rules.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from scheduling.solver.check import check
from scheduling.solver.greedy import urgency
from scheduling.solver.objective import Work, stint_end, terms
from scheduling.solver.office import Office
from scheduling.solver.plan import Plan, Stint
from scheduling.solver.problem import DAY, Crew, Problem
from scheduling.solver.surroundings import Surroundings

OWN: Final = ("weather", "quiet", "shift", "horizon", "pin")
OF_OTHERS: Final = ("crew", "travel", "pump", "rig")
REACH_DAYS: Final = 10
TRIED: Final = (8, 4, 4)
"""Places tried where nothing else moves, where only the own job does, and where others give way."""


@dataclass(frozen=True)
class Pushed:
    """A stint that has to move; a side is None where the stint is not."""

    job: str
    stage: str
    before: Stint | None
    after: Stint | None


@dataclass(frozen=True)
class Alternative:
    """Another place for a stint: the whole plan with it, the change in objective, and all that moves besides."""

    crew: str
    start: int
    change: int
    plan: Plan
    pushed: tuple[Pushed, ...]

    @property
    def jobs_pushed(self) -> tuple[str, ...]:
        """Other jobs of which a stint moves."""
        return tuple(dict.fromkeys(row.job for row in self.pushed))


def alternatives(problem: Problem, plan: Plan, stint: tuple[str, str], most: int = 3) -> list[Alternative]:
    """The best other places of a stint within ten days of its own, cheapest first.

    Parameters
    ----------
    problem, plan
        A plan that keeps every rule.
    stint
        (job, stage) of the plan, not a fixed one.
    most
        How many to return at most; no two on the same day with the same crew.
    """
    mover = Mover(problem, plan)
    work = mover.around.work(*stint)
    if work.fixed:
        raise ValueError(f"The stint {stint} is fixed, but must be one that may still move.")
    cost = terms(problem, plan).objective
    found: dict[tuple[str, int], Alternative] = {}
    for crew, start in _places(mover.around, work):
        best = mover.best(stint, crew, start)
        if best is None:
            continue
        change, key = best[0] - cost, (crew, start // DAY)
        if key not in found or change < found[key].change:
            found[key] = Alternative(crew, start, change, best[1], pushed(plan, best[1], stint))
    return sorted(found.values(), key=lambda one: (one.change, abs(one.start - work.start), one.crew))[:most]


def placed(problem: Problem, plan: Plan, stint: tuple[str, str], crew: str, start: int) -> Plan | None:
    """The plan with the stint at another place and whatever has to give way planned anew; None if it cannot be.

    Where nothing else has to move the later stages of the job follow only if the whole is the cheaper for it;
    other pools give way only where there is no plan otherwise.
    """
    best = Mover(problem, plan).best(stint, crew, start)
    return None if best is None else best[1]


class Mover:
    """A plan in which one stint after the other is tried elsewhere; built once."""

    def __init__(self, problem: Problem, plan: Plan) -> None:
        self.problem, self.plan = problem, plan
        self.around = Surroundings(problem, plan)
        self.office = Office(problem, plan)
        self.broken = [_key(row) for row in check(problem, plan)]
        order = [stage for stage in problem.stages if stage != "bond_again"]
        order.insert(order.index("plaster"), "bond_again")
        self.order = {name: at for at, name in enumerate(order)}

    def best(self, stint: tuple[str, str], crew: str, start: int) -> tuple[int, Plan] | None:
        """The cheapest plan with the stint there, with its objective."""
        job, stage = stint
        want = Stint(job, stage, crew, start)
        alone = Plan(tuple(want if (s.job, s.stage) == stint else s for s in self.plan.stints), self.plan.unplanned)
        found = [self._cost(alone)] if self._fits(alone, job) else []
        if not found or stage not in self.problem.startup_of:
            before = [w for w in self.around.of_job[job].values() if self.order[w.stage] < self.order[stage]]
            way = _in_the_way(self.around, want)
            for keep, cleared in ((before, ()), ([], ()), (before, way), ([], way)):
                if found and (cleared or not keep):
                    break
                tried = self._anew(want, [w for w in keep if not w.fixed], cleared)
                if tried is not None and self._fits(tried, job):
                    found.append(self._cost(tried))
        return min(found, key=lambda pair: pair[0], default=None)

    def _cost(self, plan: Plan) -> tuple[int, Plan]:
        return terms(self.problem, plan).objective, plan

    def _fits(self, plan: Plan, job: str) -> bool:
        """Nothing is broken that was not broken before, and nothing at all about the job."""
        known = {row for row in self.broken if row[1] != job}
        return all(_key(row) in known for row in check(self.problem, plan))

    def _anew(self, want: Stint, keep: list[Work], cleared: Sequence[Work]) -> Plan | None:
        """The job around the stint, then those that gave way; the office's calendar is as before afterwards."""
        office, problem = self.office, self.problem
        job = problem.job_of[want.job]
        others = sorted({work.job.id for work in cleared} - {want.job})
        lifted = {name: office.lift(problem.job_of[name]) for name in (want.job, *others)}
        crew = problem.crew_of[want.crew]
        end = stint_end(problem, job, want.stage, crew, want.start) or want.start + 1
        office.lay(job, [*keep, Work(job, want.stage, crew, want.start, end, False, ())])
        made = None
        if office.plan_job(job):
            for one in sorted((problem.job_of[name] for name in others), key=lambda one: urgency(problem, one)):
                office.plan_job(one)
            made = office.plan()
        for name in lifted:
            office.lift(problem.job_of[name])
        for name, works in lifted.items():
            office.lay(problem.job_of[name], works)
        return made if made is not None and len(made.unplanned) <= len(self.plan.unplanned) else None


def _key(row: object) -> tuple[str, str, str]:
    assert isinstance(row, dict)
    return row["rule"], row["job"], row["stage"]


def _in_the_way(around: Surroundings, want: Stint) -> tuple[Work, ...]:
    """Decided stints of other jobs that need the crew, a pump or the rig at that time."""
    problem = around.problem
    job = problem.job_of[want.job]
    end = stint_end(problem, job, want.stage, problem.crew_of[want.crew], want.start) or want.start + 1
    found = []
    for work in around.of_crew[want.crew]:
        road = problem.travel_slots(work.job.site, job.site)
        if work.job.id != want.job and work.start < end + road and want.start < work.end + road:
            found.append(work)
    if want.stage == "plaster":
        found += _spare(around, "plaster", want, end, problem.rigs)
    if want.stage == "drain_setup":
        hold = end + job.pump_len + job.drain_pull_len
        found += _spare(around, "drain_setup", want, hold, problem.pumps)
    return tuple(work for work in found if not work.fixed)


def _spare(around: Surroundings, stage: str, want: Stint, end: int, limit: int) -> list[Work]:
    """As many of the holders of rigs or pumps as must give way, those with the latest promise first."""
    holders = []
    for stages in around.of_job.values():
        work = stages.get(stage)
        if work is None or work.job.id == want.job:
            continue
        pull = stages.get("drain_pull")
        until = pull.end if stage == "drain_setup" and pull is not None else work.end
        if work.start < end and want.start < until:
            holders.append(work)
    holders.sort(key=lambda work: urgency(around.problem, work.job), reverse=True)
    return [work for work in holders if not work.fixed][: max(0, len(holders) + 1 - limit)]


def _places(around: Surroundings, work: Work) -> Iterator[tuple[str, int]]:
    """Starts worth trying: free ones, then those that push only the own job, then those that push others."""
    problem, own = around.problem, work.start // DAY
    days = range(max(problem.now // DAY, own - REACH_DAYS), min(own + REACH_DAYS + 1, problem.horizon_days))
    kinds: list[list[tuple[int, str, int]]] = [[], [], []]
    for crew in problem.crews:
        if problem.skill(work.stage) not in crew.skills:
            continue
        masks = around.masks(work.job.id, work.stage, crew.id)
        alone = np.logical_and.reduce([masks[rule] for rule in OWN]) & _enough(work, crew, around)
        apart = alone & np.logical_and.reduce([masks[rule] for rule in OF_OTHERS])
        free = np.logical_and.reduce(list(masks.values()))
        for day in days:
            if day == own and crew.id == work.crew.id:
                continue
            for kind, mask in enumerate((free, apart, alone)):
                here = mask[DAY * day : DAY * day + DAY]
                if here.any():
                    kinds[kind].append((abs(day - own), crew.id, DAY * day + int(here.argmax())))
                    break
    for kind, places in enumerate(kinds):
        places.sort()
        for _, crew_id, start in places[: TRIED[kind]]:
            yield crew_id, start


def _enough(work: Work, crew: Crew, around: Surroundings) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Starts for which the crew has people enough, whatever else it does then."""
    people = np.zeros(len(around.slots), dtype=np.int64)
    if work.stage == "plaster":
        for row in reversed(work.job.plaster_days):
            people[max(row.first, 0) : row.last + 1] = row.people
    return people <= crew.people


def pushed(before: Plan, after: Plan, stint: tuple[str, str]) -> tuple[Pushed, ...]:
    """All other stints that differ, in order of time."""
    old = {(s.job, s.stage): s for s in before.stints}
    new = {(s.job, s.stage): s for s in after.stints}
    rows = [
        Pushed(*key, old.get(key), new.get(key))
        for key in {*old, *new}
        if key != stint and old.get(key) != new.get(key)
    ]
    return tuple(sorted(rows, key=_when))


def _when(row: Pushed) -> tuple[int, str, str]:
    stint = row.before or row.after
    assert stint is not None
    return stint.start, row.job, row.stage
