"""The plan that a careful office makes: job by job on the wall calendar, then a few jobs make room for others."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf

from scheduling.solver.check import ORDER, check
from scheduling.solver.objective import terms
from scheduling.solver.office import COMMON_SHARE, Office
from scheduling.solver.plan import Plan, Stint
from scheduling.solver.problem import DAY, Job, Problem

__all__ = ["Office", "greedy", "repair", "repaired", "urgency"]

SWAP_EFFORT = 9000
SWAP_WIDTH = 8
TRY_EFFORT = 360
LEAST_DAYS = 4
NO_PROMISE_DAYS = 28
DAYS_TO_DRY = 5
IN_ORDER = (*ORDER[:4], "bond_again", *ORDER[4:])


@dataclass(frozen=True, slots=True)
class Manner:
    """How an office goes about it: whose turn it is, and which hours it keeps free (`Office.common_share`).

    `chances`: what a day on which a job could be plastered counts beside a day until it is promised; None: strictly
    by promise, jobs without one last.
    """

    common_share: float = 0.9
    chances: float | None = None
    no_promise_days: int = NO_PROMISE_DAYS
    heavy_first: bool = False

    def turn(self, problem: Problem, job: Job) -> tuple[float, ...]:
        """Jobs with the least of it come first."""
        if self.chances is None:
            return (-job.weight * self.heavy_first, *urgency(problem, job))
        first = job.earliest // DAY
        promise = first + self.no_promise_days if job.promise_day is None else job.promise_day
        days = {row.day for row in job.plaster_days if row.day >= first + DAYS_TO_DRY}
        return (0 if job.fixed else 1, promise + self.chances * len(days), -job.weight, job.earliest)


BY_CHANCES = Manner(chances=0.5)
BY_PROMISE = Manner()
OTHERS = (
    Manner(chances=0.6, no_promise_days=35),
    Manner(COMMON_SHARE, heavy_first=True),
    Manner(2 * COMMON_SHARE),
    Manner(COMMON_SHARE),
)


def greedy(problem: Problem, kept: Plan | None = None) -> Plan:
    """Plan the jobs one after the other, each as early as it will go beside those before it, then make room.

    While there are plaster days enough, jobs with few of them come earlier than their promise says.  A small problem
    is planned in several manners, and the best plan counts.  `kept` are stints that stay where they are (whole jobs
    or parts of jobs): beside them the order is that of the promises.
    """
    if kept is not None:
        return _filled(problem, kept, BY_PROMISE).plan()
    manners = [BY_PROMISE, BY_CHANCES] if plaster_load(problem) > 1 else [BY_CHANCES, BY_PROMISE]
    tries = max(1, TRY_EFFORT // max(len(problem.jobs), 1))
    offices = [_filled(problem, None, manner) for manner in [*manners, *OTHERS][:tries]]
    best = min(offices, key=lambda office: terms(problem, office.plan()).objective)
    Swaps(best).make_room(SWAP_EFFORT // max(len(problem.jobs), 1))
    return best.plan()


def _filled(problem: Problem, kept: Plan | None, manner: Manner) -> Office:
    office = Office(problem, kept, manner.common_share)
    for job in sorted(problem.jobs, key=lambda job: manner.turn(problem, job)):
        office.plan_job(job)
    return office


def plaster_load(problem: Problem) -> float:
    """Jobs as a share of the plaster stints that crews, rigs and weather offer; infinite if they offer none."""
    last = max((row.day for job in problem.jobs for row in job.plaster_days), default=-1) + 1
    crews, jobs = [0] * last, [0] * last
    for crew in problem.crews:
        if "plaster" in crew.skills:
            for day in {first // DAY for first, _ in crew.shifts if first < DAY * last}:
                crews[day] += 1
    for job in problem.jobs:
        for day in {row.day for row in job.plaster_days}:
            jobs[day] += 1
    offered = sum(min(there, problem.rigs) * able for there, able in zip(crews, jobs, strict=True))
    return len(problem.jobs) ** 2 / offered if offered else inf


def urgency(problem: Problem, job: Job) -> tuple[int, int, int, int]:
    """Jobs under way first, then by promised date, then by weight."""
    promise = problem.horizon_days if job.promise_day is None else job.promise_day
    return (0 if job.fixed else 1, promise, -job.weight, job.earliest)


class Swaps:
    """Jobs that are late or left out change places with jobs that can wait."""

    def __init__(self, office: Office) -> None:
        self.office = office
        self.problem = office.problem

    def make_room(self, tries: int) -> None:
        """Try so many exchanges of two jobs; keep what costs less."""
        left = tries
        while left > 0:
            gained = False
            for job in sorted(self._painful(), key=self.pain, reverse=True):
                for other in self._can_wait(job)[: min(SWAP_WIDTH, left)]:
                    left -= 1
                    if self._exchange(job, other):
                        gained = True
                        break
                if left <= 0:
                    return
            if not gained:
                return

    def pain(self, job: Job) -> int:
        """What a job costs for being late or left out."""
        weights, day = self.problem.weights, self.office.fill_day(job)
        late = max(0, (self.problem.horizon_days if day is None else day) - self._promise(job))
        out = weights.unplanned + weights.fill_day * self.problem.horizon_days if day is None else 0
        return out + weights.late_day * job.weight * late

    def _cost(self, *jobs: Job) -> int:
        days = [self.office.fill_day(job) for job in jobs]
        return sum(self.pain(job) for job in jobs) + sum(self.problem.weights.fill_day * (day or 0) for day in days)

    def _promise(self, job: Job) -> int:
        return self.problem.horizon_days if job.promise_day is None else job.promise_day

    def _painful(self) -> Iterator[Job]:
        return (job for job in self.problem.jobs if self.pain(job) > 0)

    def _can_wait(self, job: Job) -> list[Job]:
        """Planned jobs that hurt less and are in the way, those with the most time before their promise first."""
        pain, limit = self.pain(job), self.office.fill_day(job) or self.problem.horizon_days
        found = []
        for other in self.problem.jobs:
            day = self.office.fill_day(other)
            open_stints = any(not work.fixed for work in self.office.works[other.id].values())
            if day is None or not open_stints or other is job or self.pain(other) >= pain:
                continue
            if day > job.earliest // DAY + LEAST_DAYS and (
                other.promise_day is None or other.weight <= job.weight or other.promise_day > self._promise(job)
            ):
                wait = 0.0 if other.promise_day is None else max(0.2, 1 + (limit - other.promise_day) / 10)
                found.append((other.weight * wait, -other.weight, other.id, other))
        return [other for *_, other in sorted(found, key=lambda row: row[:3])]

    def _exchange(self, job: Job, other: Job) -> bool:
        """Plan the one before the other; False, and nothing changed, if that costs no less."""
        office, before = self.office, self._cost(job, other)
        old = [(one, office.lift(one)) for one in (job, other)]
        office.plan_job(job)
        office.plan_job(other)
        if self._cost(job, other) < before:
            return True
        for one in (job, other):
            office.lift(one)
        for one, works in old:
            office.lay(one, works)
        return False


def repair(problem: Problem) -> Plan:
    """The plan in force, mended: what breaks a rule now is planned anew beside all that stays."""
    stints = tuple(Stint(row.job, row.stage, row.crew, row.start) for row in problem.current)
    return repaired(problem, Plan(stints))


def repaired(problem: Problem, plan: Plan) -> Plan:
    """A plan in which each job that breaks a rule is planned anew, greedily, from the stage that breaks it on.

    A job that finds no room beside the stages it keeps is planned anew as a whole.
    """
    office = Office(problem, Plan(tuple(_sound(problem, plan))))
    for job in sorted(problem.jobs, key=lambda job: urgency(problem, job)):
        if not office.plan_job(job):
            office.lift(job, startups_only=True)
            if not office.plan_job(job):
                office.lift(job)
                office.plan_job(job)
    return office.plan()


def _sound(problem: Problem, plan: Plan) -> list[Stint]:
    """The stints of a plan that break no rule, without those that stand on one that does."""
    fixed = {(job.id, stage.stage) for job in problem.jobs for stage in job.fixed}
    kept = {
        (stint.job, stint.stage): stint
        for stint in plan.stints
        if stint.job in problem.job_of and stint.stage in problem.stages and stint.crew in problem.crew_of
    }
    kept = {key: stint for key, stint in kept.items() if key not in fixed}
    for _ in range(len(kept) + 1):
        rows = check(problem, Plan(tuple(kept.values())))
        cut = {key for key in ((row["job"], row["stage"]) for row in rows) if key in kept or key in fixed}
        if not cut:
            break
        kept = {key: stint for key, stint in kept.items() if not any(_hangs_on(key, at) for at in cut)}
    return list(kept.values())


def _hangs_on(key: tuple[str, str], cut: tuple[str, str]) -> bool:
    """Tell whether a stint is the one that breaks a rule, or comes after it in the order of the stages."""
    if key[0] != cut[0]:
        return False
    both = key[1] in IN_ORDER and cut[1] in IN_ORDER
    return IN_ORDER.index(key[1]) >= IN_ORDER.index(cut[1]) if both else key == cut
