"""What a plan costs, term by term, re-derived from its stints alone."""

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise

from scheduling.solver.plan import Plan
from scheduling.solver.problem import (
    DAY,
    Crew,
    Issued,
    Job,
    Point,
    Problem,
    Span,
    metres,
    prep_slots,
    stint_len,
)


@dataclass(frozen=True, slots=True)
class Work:
    """A stint with its end, decided or fixed: `days` are those on which the crew is on site."""

    job: Job
    stage: str
    crew: Crew
    start: int
    end: int
    fixed: bool
    days: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Terms:
    """The parts of the objective, and the metres driven."""

    late: int
    fill: int
    travel: int
    unplanned: int
    moves: int
    stints_moved: int
    travel_m: int

    @property
    def objective(self) -> int:
        """Sum of the parts."""
        return self.late + self.fill + self.travel + self.unplanned + self.moves

    @property
    def main(self) -> int:
        """The parts that the owners of the pools feel: days late, fill days, jobs left out."""
        return self.late + self.fill + self.unplanned


def working_slots(job: Job, crew: Crew, start: int, end: int) -> Iterator[int]:
    """Slots from `start` up to `end` in which a crew can work on the prep of a job."""
    blocked = job.blocked.get("prep", ())
    first = bisect_right([last for _, last in crew.shifts], start)
    for opens, closes in crew.shifts[first:]:
        if opens >= end:
            return
        for slot in range(max(opens, start), min(closes, end)):
            if not inside(job.quiet, slot % DAY) and not inside(blocked, slot):
                yield slot


def inside(spans: Iterable[Span], slot: int) -> bool:
    """Tell whether a slot lies in one of the half-open spans."""
    return any(first <= slot < last for first, last in spans)


def stint_end(problem: Problem, job: Job, stage: str, crew: Crew, start: int) -> int | None:
    """First slot after a stint; None if its rows or shifts allow no such stint."""
    if stage == "prep":
        left = prep_slots(job, crew)
        for slot in working_slots(job, crew, start, problem.end):
            left -= 1
            if left == 0:
                return slot + 1
        return None
    if stage == "plaster":
        row = next((row for row in job.plaster_days if row.first <= start <= row.last), None)
        return None if row is None else start + row.len
    return start + stint_len(problem, job, stage)


def work_of(problem: Problem, plan: Plan) -> list[Work]:
    """All fixed and decided stints with their ends; a stint without an end is taken as one slot."""
    found = []
    for job in problem.jobs:
        for stage in job.fixed:
            crew = problem.crew_of[stage.crew]
            days = _days(job, stage.stage, crew, stage.start, stage.end)
            found.append(Work(job, stage.stage, crew, stage.start, stage.end, True, days))
    for stint in plan.stints:
        job, crew = problem.job_of[stint.job], problem.crew_of[stint.crew]
        end = stint_end(problem, job, stint.stage, crew, stint.start) or stint.start + 1
        days = _days(job, stint.stage, crew, stint.start, end)
        found.append(Work(job, stint.stage, crew, stint.start, end, False, days))
    return found


def _days(job: Job, stage: str, crew: Crew, start: int, end: int) -> tuple[int, ...]:
    if stage == "prep":
        return tuple(sorted({slot // DAY for slot in working_slots(job, crew, start, end)}))
    return (start // DAY,) if start >= 0 else ()


def driven_m(works: Iterable[Work]) -> int:
    """Metres of all crews: base, sites in order of start, base, on every day on which they work on site."""
    visits: dict[tuple[str, int], list[tuple[int, Point]]] = {}
    base = {}
    for work in works:
        base[work.crew.id] = work.crew.base
        for day in work.days:
            visits.setdefault((work.crew.id, day), []).append((max(work.start, DAY * day), work.job.site))
    total = 0
    for (crew, _), places in visits.items():
        tour = [base[crew], *(site for _, site in sorted(places)), base[crew]]
        total += sum(metres(here, there) for here, there in pairwise(tour))
    return total


def fill_days(works: Iterable[Work]) -> dict[str, int]:
    """The fill day F of every job that has one: the day on which `fill_end` starts."""
    return {work.job.id: work.start // DAY for work in works if work.stage == "fill_end"}


def terms(problem: Problem, plan: Plan) -> Terms:
    """The objective of a plan, term by term."""
    works = work_of(problem, plan)
    weights = problem.weights
    days = fill_days(works)
    left_out = set(plan.unplanned)
    late = fill = unplanned = 0
    for job in problem.jobs:
        out = job.id in left_out or job.id not in days
        day = problem.horizon_days if out else days[job.id]
        if job.promise_day is not None:
            late += weights.late_day * job.weight * max(0, day - job.promise_day)
        if out:
            unplanned += weights.unplanned + weights.fill_day * day
        else:
            fill += weights.fill_day * day
    moved = [row.move_cost for row in moved_stints(problem, plan)]
    travel_m = driven_m(works)
    return Terms(
        late=late,
        fill=fill,
        travel=weights.travel_km * travel_m // 1000,
        unplanned=unplanned,
        moves=sum(moved),
        stints_moved=len(moved),
        travel_m=travel_m,
    )


def moved_stints(problem: Problem, plan: Plan) -> list[Issued]:
    """Stints of the plan in force that the plan moves, gives to another crew, or drops."""
    decided = {(stint.job, stint.stage): stint for stint in plan.stints}
    fixed = {(job.id, stage.stage) for job in problem.jobs for stage in job.fixed}
    moved = []
    for row in problem.current:
        stint = decided.get((row.job, row.stage))
        if (row.job, row.stage) in fixed:
            continue
        if stint is None or stint.crew != row.crew or abs(stint.start - row.start) > problem.rules.move_tolerance:
            moved.append(row)
    return moved
