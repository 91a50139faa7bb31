"""What a proposal would change of the stints in force, and why each of them cannot stay.

Nothing here decides anything: the two sides are put side by side, and a reason is what the planner's own check
says of the present time under the proposal.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext as _

from jobs.models import Job, Scope
from jobs.selectors.clearance import drain_clearances
from scheduling.models import Crew, Plan, PlanState, Stage, Stint
from scheduling.selectors.change_reasons import Reasons
from scheduling.selectors.collision_words import aside_words, collision_words
from scheduling.selectors.other_outcome import in_doubt
from scheduling.selectors.plan_stints import DRAIN, answer_in_force, stage_of, stints_in_force, timed_stints
from scheduling.selectors.problem import begins_soon
from scheduling.selectors.unplaced import Unplaced
from scheduling.slots import DAY_SLOTS, SlotClock
from scheduling.solver.objective import Work, driven_m, work_of
from scheduling.solver.objective import fill_days as full_days
from scheduling.solver.plan import Plan as Answer
from scheduling.solver.problem import Problem
from shared import clock
from shared.models import Contractor


@dataclass(frozen=True)
class Side:
    """A stint on one side: crew and time in the site's wall clock."""

    crew: str
    starts: dt.datetime
    ends: dt.datetime


@dataclass(frozen=True)
class Change:
    """One stint that would be moved, added or dropped."""

    kind: str  # moved, added, dropped
    key: str
    stage: str
    before: Side | None = None
    after: Side | None = None
    why: str = ""
    place: str = ""
    soon: bool = False
    """It begins within the freeze time: only a rule that breaks moves it."""

    @property
    def day_number(self) -> str:
        """Day of the first month of a start-up visit."""
        return self.key.partition("startup_")[2]

    @property
    def crew_differs(self) -> bool:
        return self.before is not None and (self.after is None or self.before.crew != self.after.crew)


@dataclass
class JobChanges:
    """All changes of one job, and its fill day on both sides."""

    job: Job
    changes: list[Change] = field(default_factory=list)
    full_before: dt.date | None = None
    full_after: dt.date | None = None
    in_doubt: bool = False
    """Another outcome of the scope is likely, and nobody has sounded the dry shell."""

    @property
    def main(self) -> list[Change]:
        """Changes of the work until the pool is full."""
        return [change for change in self.changes if not change.day_number]

    @property
    def visits(self) -> list[Change]:
        """Changes of start-up visits, which follow the fill day."""
        return [change for change in self.changes if change.day_number]

    @property
    def days(self) -> int | None:
        if self.full_before is None or self.full_after is None:
            return None
        return (self.full_after - self.full_before).days

    @property
    def earlier(self) -> int:
        """Days sooner, for a sentence."""
        return max(0, -(self.days or 0))

    @property
    def after_promise(self) -> int | None:
        """Days by which the new fill day misses the promised date (positive) or comes before it."""
        if self.job.promised_date is None or self.full_after is None:
            return None
        return (self.full_after - self.job.promised_date).days


@dataclass(frozen=True)
class Totals:
    """A side as a whole."""

    late_days: int
    late_jobs: int
    full_sum: int
    driven_m: int
    left_out: int


@dataclass(frozen=True)
class Comparison:
    """The proposal against what is in force."""

    plan: Plan
    issued: Plan | None
    jobs: tuple[JobChanges, ...]
    before: Totals
    after: Totals
    held: tuple[Job, ...]
    left_out: tuple[Unplaced, ...]

    @property
    def outdated(self) -> bool:
        return (self.issued.version if self.issued else 0) != self.plan.base_version

    def count(self, kind: str) -> int:
        return sum(change.kind == kind for job in self.jobs for change in job.changes)

    @property
    def moved(self) -> int:
        return self.count("moved")

    @property
    def added(self) -> int:
        return self.count("added")

    @property
    def dropped(self) -> int:
        return self.count("dropped")


def comparison(contractor: Contractor, plan: Plan, units: str) -> Comparison:
    """Everything the office must see before it issues a proposal."""
    problem, answer = Problem.from_json(plan.problem), Answer.from_json(plan.answer)
    slots = SlotClock(plan.first_day, contractor.tz)
    jobs = {str(job.pk): job for job in Job.objects.filter(pk__in=list(problem.job_of)).select_related("site")}
    present = stints_in_force(problem)
    wanted = timed_stints(problem, answer, slots)
    side_before = answer_in_force(problem, present, slots)
    works_before, works_after = work_of(problem, side_before), work_of(problem, answer)
    reasons = Reasons(problem, side_before, answer, slots, jobs, units)
    by_job = _by_job(jobs, present, wanted, reasons, plan)
    _doubts(by_job)
    _full_days(by_job, full_days(works_before), full_days(works_after), slots)
    return Comparison(
        plan=plan,
        issued=Plan.objects.filter(state=PlanState.ISSUED, branch=plan.branch).defer("problem", "answer").first(),
        jobs=tuple(sorted(by_job.values(), key=_order)),
        before=_totals(problem, works_before),
        after=_totals(problem, works_after),
        held=_held(jobs, wanted),
        left_out=_left_out(plan, answer, jobs),
    )


def _left_out(plan: Plan, answer: Answer, jobs: Mapping[str, Job]) -> tuple[Unplaced, ...]:
    """Jobs without a place in the proposal, and those that the planner was not even asked for, with the reason."""
    facts = plan.answer.get("left_out", {})
    rows = [Unplaced(jobs[job], collision_words(facts[job]) if job in facts else "") for job in answer.unplanned]
    aside: Mapping[str, str] = plan.answer.get("left_aside", {})
    if aside:
        named = Job.objects.filter(pk__in=list(aside)).select_related("site")
        rows += [Unplaced(job, aside_words(aside[str(job.pk)])) for job in named]
    return tuple(sorted(rows, key=lambda row: row.job.number))


def _by_job(
    jobs: Mapping[str, Job],
    present: Mapping[tuple[str, str], Stint],
    wanted: Mapping[tuple[str, str], tuple[str, dt.datetime, dt.datetime]],
    reasons: Reasons,
    plan: Plan,
) -> dict[str, JobChanges]:
    crews = {str(crew.pk): crew.name for crew in Crew.objects.all()}
    found: dict[str, JobChanges] = {}
    by_hand = plan.answer.get("by_hand")
    for job_id, key in sorted({*present, *wanted}, key=lambda pair: (pair[0], _when(pair, present, wanted))):
        stint, new = present.get((job_id, key)), wanted.get((job_id, key))
        job = jobs[job_id]
        before = None if stint is None else _side(stint.crew.name, stint.starts, stint.ends, job)
        after = None if new is None else _side(crews.get(new[0], "?"), new[1], new[2], job)
        if before and after and (before.crew, before.starts) == (after.crew, after.starts):
            continue
        kind = "added" if before is None else "dropped" if after is None else "moved"
        why = reasons.of(stint, key) if stint is not None and after is not None else ""
        if f"{job_id}:{key}" == by_hand:
            why = _("moved by hand")
        if kind == "added":
            why = _("the first coat grows too old before plaster") if key == Stage.BOND_AGAIN else _("new in the plan")
        soon = stint is not None and begins_soon(stint, plan.created_at)
        row = found.setdefault(job_id, JobChanges(job))
        row.changes.append(
            Change(kind, key, str(Stage(stage_of(key)).label), before, after, why, f"{job_id}:{key}", soon)
        )
    return found


def _when(pair: tuple[str, str], present: Mapping[Any, Stint], wanted: Mapping[Any, Any]) -> dt.datetime:
    found: dt.datetime = wanted[pair][1] if pair in wanted else present[pair].starts
    return found


def _side(crew: str, starts: dt.datetime, ends: dt.datetime, job: Job) -> Side:
    return Side(crew, starts.astimezone(job.site.tz), ends.astimezone(job.site.tz))


def _doubts(by_job: Mapping[str, JobChanges]) -> None:
    newest = Scope.objects.filter(job__in=list(by_job)).order_by("job", "-agreed_at", "-id").distinct("job")
    for scope in newest:
        by_job[str(scope.job_id)].in_doubt = in_doubt(scope) is not None


def _full_days(
    by_job: Mapping[str, JobChanges], before: Mapping[str, int], after: Mapping[str, int], slots: SlotClock
) -> None:
    for job_id, row in by_job.items():
        row.full_before = slots.date(before[job_id] * DAY_SLOTS) if job_id in before else None
        row.full_after = slots.date(after[job_id] * DAY_SLOTS) if job_id in after else None


def _order(row: JobChanges) -> tuple[int, int, int]:
    """Missed promises first, then the largest moves of the fill day."""
    late = row.after_promise
    return -max(0, late or 0), -abs(row.days or 0), row.job.number


def _totals(problem: Problem, works: list[Work]) -> Totals:
    days = full_days(works)
    late = [
        max(0, days[job.id] - job.promise_day) for job in problem.jobs if job.promise_day is not None and job.id in days
    ]
    return Totals(
        late_days=sum(late),
        late_jobs=sum(day > 0 for day in late),
        full_sum=sum(max(0, day) for day in days.values()),  # pools that are full already wait no more
        driven_m=driven_m(works),
        left_out=sum(job.id not in days for job in problem.jobs),
    )


def _held(jobs: Mapping[str, Job], wanted: Iterable[tuple[str, str]]) -> tuple[Job, ...]:
    """Jobs whose drain would be held, since no groundwater record stands."""
    draining = [jobs[job_id] for job_id in {job_id for job_id, key in wanted if key in DRAIN}]
    cleared = drain_clearances(draining, clock.now())
    return tuple(job for job in sorted(draining, key=lambda job: job.number) if not cleared[job.pk].cleared)
