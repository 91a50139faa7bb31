"""What a proposal would change of the stints in force, and why each of them cannot stay.

Nothing here decides anything: the two sides are put side by side, and a reason is what the planner's own check
says of the present time under the proposal.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from jobs.models import ExpectedDates, Job
from jobs.reason_words import why_words
from jobs.selectors.clearance import drain_clearances
from scheduling.models import Crew, Plan, PlanState, Stage, Stint
from scheduling.selectors.plan_stints import DRAIN, answer_in_force, stage_of, stints_in_force, timed_stints
from scheduling.selectors.rule_words import Around
from scheduling.slots import DAY_SLOTS, SlotClock
from scheduling.solver.objective import driven_m, work_of
from scheduling.solver.objective import fill_days as full_days
from scheduling.solver.plan import Plan as Answer
from scheduling.solver.problem import Problem
from shared import clock
from shared.models import Contractor

MOST_REASONS: Final = 60  # stints that are tried at their present time; beyond, the change is shown without a reason
MAIN: Final = (Stage.DRAIN_SETUP, Stage.PREP, Stage.BOND, Stage.BOND_AGAIN, Stage.PLASTER, Stage.FILL_START)
FOLLOWS: Final = {Stage.DRAIN_PULL: Stage.DRAIN_SETUP, Stage.FILL_END: Stage.FILL_START}


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
    reasons = _Reasons(problem, answer, slots, jobs, units)
    by_job = _by_job(jobs, present, wanted, reasons)
    _full_days(by_job, problem, (side_before, answer), slots)
    return Comparison(
        plan=plan,
        issued=Plan.objects.filter(state=PlanState.ISSUED, branch=plan.branch).defer("problem", "answer").first(),
        jobs=tuple(sorted(by_job.values(), key=_order)),
        before=_totals(problem, side_before),
        after=_totals(problem, answer),
        held=_held(jobs, wanted),
    )


def _by_job(
    jobs: Mapping[str, Job],
    present: Mapping[tuple[str, str], Stint],
    wanted: Mapping[tuple[str, str], tuple[str, dt.datetime, dt.datetime]],
    reasons: _Reasons,
) -> dict[str, JobChanges]:
    crews = {str(crew.pk): crew.name for crew in Crew.objects.all()}
    found: dict[str, JobChanges] = {}
    for job_id, key in sorted({*present, *wanted}, key=lambda pair: (pair[0], _when(pair, present, wanted))):
        stint, new = present.get((job_id, key)), wanted.get((job_id, key))
        job = jobs[job_id]
        before = None if stint is None else _side(stint.crew.name, stint.starts, stint.ends, job)
        after = None if new is None else _side(crews.get(new[0], "?"), new[1], new[2], job)
        if before and after and (before.crew, before.starts) == (after.crew, after.starts):
            continue
        kind = "added" if before is None else "dropped" if after is None else "moved"
        why = reasons.of(stint, key) if stint is not None and after is not None else ""
        stage = str(Stage(stage_of(key)).label)
        row = found.setdefault(job_id, JobChanges(job))
        row.changes.append(Change(kind, key, stage, before, after, why))
    return found


def _when(pair: tuple[str, str], present: Mapping[Any, Stint], wanted: Mapping[Any, Any]) -> dt.datetime:
    found: dt.datetime = wanted[pair][1] if pair in wanted else present[pair].starts
    return found


def _side(crew: str, starts: dt.datetime, ends: dt.datetime, job: Job) -> Side:
    return Side(crew, starts.astimezone(job.site.tz), ends.astimezone(job.site.tz))


def _full_days(
    by_job: Mapping[str, JobChanges], problem: Problem, sides: tuple[Answer, Answer], slots: SlotClock
) -> None:
    before, after = (full_days(work_of(problem, side)) for side in sides)
    for job_id, row in by_job.items():
        row.full_before = slots.date(before[job_id] * DAY_SLOTS) if job_id in before else None
        row.full_after = slots.date(after[job_id] * DAY_SLOTS) if job_id in after else None


def _order(row: JobChanges) -> tuple[int, int, int]:
    """Missed promises first, then the largest moves of the fill day."""
    late = row.after_promise
    return -max(0, late or 0), -abs(row.days or 0), row.job.number


def _totals(problem: Problem, answer: Answer) -> Totals:
    works = work_of(problem, answer)
    days = full_days(works)
    late = [
        max(0, days[job.id] - job.promise_day) for job in problem.jobs if job.promise_day is not None and job.id in days
    ]
    return Totals(
        late_days=sum(late),
        late_jobs=sum(day > 0 for day in late),
        full_sum=sum(days.values()),
        driven_m=driven_m(works),
        left_out=sum(job.id not in days for job in problem.jobs),
    )


def _held(jobs: Mapping[str, Job], wanted: Iterable[tuple[str, str]]) -> tuple[Job, ...]:
    """Jobs whose drain would be held, since no groundwater record stands."""
    draining = [jobs[job_id] for job_id in {job_id for job_id, key in wanted if key in DRAIN}]
    cleared = drain_clearances(draining, clock.now())
    return tuple(job for job in sorted(draining, key=lambda job: job.number) if not cleared[job.pk].cleared)


class _Reasons:
    """Why a stint cannot stay where it is, in a sentence."""

    def __init__(self, problem: Problem, answer: Answer, slots: SlotClock, jobs: Mapping[str, Job], units: str) -> None:
        self.around, self.slots, self.jobs, self.units = Around(problem, answer), slots, jobs, units
        self.closed: dict[str, Mapping[str, Any]] | None = None
        self.left = MOST_REASONS

    def of(self, stint: Stint, key: str) -> str:
        if stint.stage == Stage.START_UP:
            return _("follows the fill day")
        if key in FOLLOWS:
            return _("follows “%(stage)s”") % {"stage": Stage(FOLLOWS[Stage(key)]).label}
        if self.left <= 0:
            return ""
        self.left -= 1
        start = self.slots.slot(stint.starts)
        broken = self.around.broken_by(str(stint.job_id), key, str(stint.crew_id), start)
        if not broken:
            return _("could stay; moved because the whole comes out better")
        first = broken[0]
        if first.rule == "weather":
            return self._weather(stint) or first.words
        if first.rule in ("crew", "travel"):
            return self._busy(stint, start) or first.words
        if first.rule == "horizon" and start < self.around.problem.now:
            return _("its time has passed")
        return first.words

    def _busy(self, stint: Stint, start: int) -> str:
        job, crew = str(stint.job_id), str(stint.crew_id)
        for work in self.around.works:
            if work.crew.id == crew and work.job.id != job and work.start <= start < work.end:
                site = self.jobs[work.job.id].site.label
                return _("%(crew)s is at %(site)s then") % {"crew": stint.crew.name, "site": site}
        return ""

    def _weather(self, stint: Stint) -> str:
        """The day that the weather closes, with its reason where it is about plaster."""
        day = stint.starts.astimezone(stint.job.site.tz).date()
        said = ""
        if stint.stage == Stage.PLASTER:
            said = next((why_words(row, self.units) for row in self._verdicts(stint) if row["day"] == str(day)), "")
        closed = _("%(day)s is closed by the weather") % {"day": date_format(day, "D j M")}
        return f"{closed}: {said}" if said else closed

    def _verdicts(self, stint: Stint) -> Sequence[Mapping[str, Any]]:
        if self.closed is None:
            rows = ExpectedDates.objects.filter(job__in=list(self.jobs)).values_list("job_id", "verdicts")
            self.closed = defaultdict(dict, {str(job): verdicts for job, verdicts in rows})
        return self.closed.get(str(stint.job_id), ())  # type: ignore[return-value]
