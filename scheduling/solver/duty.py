"""What a Sunday duty or an evening watch of one water crew would win: the same plan, once more with those hours.

Job by job the plan is taken apart and put together again where the job is full sooner, first with the crews as they
are, then with the longer hours: only what the hours win beyond the first is said to be won by them.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import Final

from scheduling.solver.check import check
from scheduling.solver.objective import fill_days, work_of
from scheduling.solver.office import Office
from scheduling.solver.plan import Plan
from scheduling.solver.problem import DAY, Crew, Job, Problem, Span

EVENING_END: Final = 44
"""An evening watch ends at 22:00."""
PASSES: Final = 2


@dataclass(frozen=True)
class Duty:
    """Longer hours of one crew and what they win: days sooner over all pools, pools full sooner, days less late."""

    kind: str
    crew: str
    first: int
    last: int
    days_won: int
    jobs_sooner: int
    late_days_saved: int


def duties(problem: Problem, plan: Plan, sundays: Collection[int]) -> list[Duty]:
    """Duties that win at least a day, the best first.

    Parameters
    ----------
    problem, plan
        A plan that keeps every rule.
    sundays
        Days of the horizon that are Sundays.
    """
    crew = _busiest(problem, plan)
    if crew is None:
        return []
    usual = fill_days(work_of(problem, closer(problem, plan)))
    found = []
    for kind, shifts, hours in (
        ("sunday", _with_sundays(crew, sundays, problem.horizon_days), _sunday_hours(crew)),
        ("evening", _with_evenings(crew), (_last_end(crew), EVENING_END)),
    ):
        if shifts == crew.shifts:
            continue
        longer = replace(crew, shifts=shifts)
        variant = replace(problem, crews=tuple(longer if one.id == crew.id else one for one in problem.crews))
        better = fill_days(work_of(variant, closer(variant, plan)))
        found.append(_duty(problem, kind, crew, hours, usual, better))
    return sorted((one for one in found if one.days_won > 0), key=lambda one: -one.days_won)


def closer(problem: Problem, plan: Plan) -> Plan:
    """The plan with every job placed anew that is full sooner for it, while the others stay; two rounds."""
    office = Office(problem, plan, 0.0)
    order = sorted(problem.jobs, key=lambda job: (office.fill_day(job) is None, office.fill_day(job) or 0))
    for _ in range(PASSES):
        if sum(_sooner(office, job) for job in order) == 0:
            break
    made = office.plan()
    broken = {(row["rule"], row["job"], row["stage"]) for row in check(problem, made)}
    before = {(row["rule"], row["job"], row["stage"]) for row in check(problem, plan)}
    return plan if broken - before else made


def _sooner(office: Office, job: Job) -> bool:
    """Place one job anew; back to where it was unless it is full sooner."""
    before = office.fill_day(job)
    works = office.lift(job)
    if office.plan_job(job):
        now = office.fill_day(job)
        if now is not None and (before is None or now < before):
            return True
        office.lift(job)
    office.lay(job, works)
    return False


def _duty(problem: Problem, kind: str, crew: Crew, hours: Span, usual: dict[str, int], better: dict[str, int]) -> Duty:
    won = [usual.get(job.id, problem.horizon_days) - better.get(job.id, problem.horizon_days) for job in problem.jobs]
    late = sum(
        max(0, usual.get(job.id, problem.horizon_days) - job.promise_day)
        - max(0, better.get(job.id, problem.horizon_days) - job.promise_day)
        for job in problem.jobs
        if job.promise_day is not None
    )
    return Duty(kind, crew.id, hours[0], hours[1], sum(won), sum(days > 0 for days in won), late)


def _busiest(problem: Problem, plan: Plan) -> Crew | None:
    """The water crew with the most stints."""
    crews = [crew for crew in problem.crews if "water" in crew.skills and crew.shifts]
    count = {crew.id: 0 for crew in crews}
    for stint in plan.stints:
        if stint.crew in count and problem.skill(stint.stage) == "water":
            count[stint.crew] += 1
    return max(crews, key=lambda crew: count[crew.id], default=None)


def _sunday_hours(crew: Crew) -> Span:
    """Its usual hours: those of most of its shifts."""
    hours = [(first % DAY, last - first // DAY * DAY) for first, last in crew.shifts]
    return max(sorted(set(hours)), key=hours.count)


def _with_sundays(crew: Crew, sundays: Collection[int], days: int) -> tuple[Span, ...]:
    first, last = _sunday_hours(crew)
    worked = {start // DAY for start, _ in crew.shifts}
    more = [(DAY * day + first, DAY * day + last) for day in sundays if day not in worked and 0 <= day < days]
    return tuple(sorted([*crew.shifts, *more]))


def _last_end(crew: Crew) -> int:
    """When its usual day ends."""
    ends = [last - first // DAY * DAY for first, last in crew.shifts]
    return max(sorted(set(ends)), key=ends.count)


def _with_evenings(crew: Crew) -> tuple[Span, ...]:
    """The last shift of each day lasts until the end of the evening watch."""
    last_of = {first // DAY: at for at, (first, _) in enumerate(crew.shifts)}
    return tuple(
        (first, max(last, DAY * (first // DAY) + EVENING_END)) if last_of[first // DAY] == at else (first, last)
        for at, (first, last) in enumerate(crew.shifts)
    )
