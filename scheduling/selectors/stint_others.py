"""The three best other places of a stint: what each costs, and whom it pushes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from jobs.models import Job
from scheduling.models import Crew, Stint, StintState
from scheduling.selectors.plan_stints import answer_in_force, stints_in_force
from scheduling.selectors.plan_words import cost_words
from scheduling.selectors.problem import PlanningProblem, planning_problem
from scheduling.slots import DAY_SLOTS, SlotClock
from scheduling.solver.alternatives import Alternative, alternatives
from scheduling.solver.objective import fill_days, terms, work_of
from scheduling.solver.plan import Plan as Answer
from scheduling.solver.problem import Problem
from shared.models import Contractor


@dataclass(frozen=True)
class Other:
    """Another time or crew, and what it costs; `start` and `crew_id` lead back to it."""

    at: dt.datetime
    crew: str
    cost: str
    pushes: tuple[str, ...]
    moved: int
    start: int
    crew_id: str
    first_day: dt.date


def stint_others(contractor: Contractor, stint: Stint, now: dt.datetime, units: str) -> list[Other]:
    """Priced on the whole plan of the branch: seconds for a large firm, so asked apart from the page."""
    if stint.state not in (StintState.ISSUED, StintState.PROPOSED) or stint.kept or stint.starts <= now:
        return []
    found = planning_problem(contractor, now, branch=stint.job.site.branch)
    problem = Problem.from_json(found.document)
    in_force = answer_in_force(problem, stints_in_force(problem), found.clock)
    place = str(stint.job_id), stint.key
    if place not in {(one.job, one.stage) for one in in_force.stints}:
        return []
    return _Others(found, problem, in_force, stint, units).listed(alternatives(problem, in_force, place))


class _Others:
    def __init__(self, found: PlanningProblem, problem: Problem, in_force: Answer, stint: Stint, units: str) -> None:
        self.slots, self.problem, self.in_force, self.stint, self.units = found.clock, problem, in_force, stint, units
        self.names = {str(pk): name for pk, name in Crew.objects.values_list("pk", "name")}
        self.before = terms(problem, in_force)
        self.full = fill_days(work_of(problem, in_force))

    def listed(self, found: Iterable[Alternative]) -> list[Other]:
        rows = list(found)
        pushed = {job for row in rows for job in row.jobs_pushed} - {str(self.stint.job_id)}
        jobs = {str(job.pk): job for job in Job.objects.filter(pk__in=pushed).select_related("site")}
        return [self._other(row, jobs) for row in rows]

    def _other(self, row: Alternative, jobs: dict[str, Job]) -> Other:
        own = str(self.stint.job_id)
        after = terms(self.problem, row.plan)
        full = fill_days(work_of(self.problem, row.plan))
        return Other(
            at=self.slots.instant(row.start).astimezone(self.stint.job.site.tz),
            crew=self.names.get(row.crew, "?"),
            cost=cost_words(self.before, after, self.problem, self.units),
            pushes=tuple(
                pushed_words(jobs[job], self.full.get(job), full.get(job), self.slots)
                for job in row.jobs_pushed
                if job in jobs
            ),
            moved=sum(one.job == own for one in row.pushed),
            start=row.start,
            crew_id=row.crew,
            first_day=self.slots.first_day,
        )


def pushed_words(job: Job, before: int | None, after: int | None, slots: SlotClock) -> str:
    """What it does to another pool."""
    if after is None:
        return _("%(site)s finds no place") % {"site": job.site.label}
    if before is None or before == after:
        return _("%(site)s moves, and is full on the same day") % {"site": job.site.label}
    days, day = after - before, date_format(slots.date(after * DAY_SLOTS), "D j M")
    if days > 0:
        said = ngettext("%(days)s day later", "%(days)s days later", days) % {"days": days}
    else:
        said = ngettext("%(days)s day sooner", "%(days)s days sooner", -days) % {"days": -days}
    return _("%(site)s is full %(day)s, %(said)s") % {"site": job.site.label, "day": day, "said": said}
