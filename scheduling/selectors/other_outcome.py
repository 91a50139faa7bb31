"""Until a pool was sounded dry its scope has another outcome: what that one would push in the plan in force."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, replace
from typing import Final

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from jobs.models import Job, Scope
from jobs.selectors.condition import strip_share
from jobs.selectors.quantities import firm_rates, job_quantities, scope_latest
from scheduling.selectors.plan_stints import answer_in_force, stints_in_force
from scheduling.selectors.problem import planning_problem
from scheduling.selectors.stint_others import pushed_words
from scheduling.slots import DAY_SLOTS, SLOT_MIN, SlotClock, slots_of_hours
from scheduling.solver.alternatives import placed
from scheduling.solver.new_job import beside
from scheduling.solver.objective import fill_days, terms, work_of
from scheduling.solver.plan import Plan as Answer
from scheduling.solver.problem import Problem
from scheduling.words import span_words
from shared.models import Contractor, Firm

LIKELY_FROM: Final = 0.05
"""Outcomes less probable than this are not planned for [CP]."""


@dataclass(frozen=True)
class OtherOutcome:
    """The most probable other outcome, and what it would do to the plan in force."""

    kind: str
    words: str
    probability: float
    more_h: float
    sentence: str
    pushes: tuple[str, ...] = ()
    fits: bool = True


def in_doubt(scope: Scope | None) -> dict[str, object] | None:
    """The other outcome of a scope that nobody has confirmed on the dry shell; None if there is none to plan for."""
    if scope is None or not scope.provisional:
        return None
    rows = [row for row in scope.decided.get("alternatives", ()) if row["kind"] != scope.kind]
    likely = [row for row in rows if row["probability"] >= LIKELY_FROM]
    return max(likely, key=lambda row: float(row["probability"]), default=None)


def other_outcome(contractor: Contractor, job: Job, now: dt.datetime) -> OtherOutcome | None:
    """None when the shell was sounded, no other outcome is likely, or the chipping has begun."""
    scope = scope_latest(job)
    row = in_doubt(scope)
    if scope is None or row is None:
        return None
    rates = firm_rates(Firm.objects.get())
    kind = str(row["kind"])
    other = Scope(
        kind=kind,
        strip_share=strip_share(kind, None),
        coats_off=scope.coats_off,
        painted=scope.painted,
        repairs_h=scope.repairs_h,
    )
    usual, turned = job_quantities(job, scope, rates), job_quantities(job, other, rates)
    more_h = turned.prep_person_h - usual.prep_person_h
    found = planning_problem(contractor, now, branch=job.site.branch)
    problem = Problem.from_json(found.document)
    name = str(job.pk)
    said = OtherOutcome(kind, str(row["words"]), float(str(row["probability"])), more_h, "")
    if name not in problem.job_of or "prep" in {one.stage for one in problem.job_of[name].fixed}:
        return None
    in_force = answer_in_force(problem, stints_in_force(problem), found.clock)
    prep = next((one for one in in_force.stints if (one.job, one.stage) == (name, "prep")), None)
    if prep is None:
        return replace(said, sentence=_hours(more_h) + ".")
    record = problem.job_of[name]
    longer = replace(
        record,
        prep_work=max(1, record.prep_work + math.ceil(more_h * 60 / SLOT_MIN)),
        bond_len=slots_of_hours(turned.bond_h),
    )
    turned_problem = replace(problem, jobs=tuple(longer if one.id == name else one for one in problem.jobs))
    ways = (
        placed(turned_problem, in_force, (name, "prep"), prep.crew, prep.start),
        beside(turned_problem, in_force, name),
    )
    best = min(
        (way for way in ways if way is not None), key=lambda way: terms(turned_problem, way).objective, default=None
    )
    return _told(said, problem, turned_problem, in_force, best, name, found.clock)


def _told(
    said: OtherOutcome,
    problem: Problem,
    turned: Problem,
    in_force: Answer,
    best: Answer | None,
    name: str,
    slots: SlotClock,
) -> OtherOutcome:
    if best is None:
        words = _("%(hours)s; then the job finds no place beside the others: ask for a new plan.")
        return replace(said, sentence=words % {"hours": _hours(said.more_h)}, fits=False)
    before, after = fill_days(work_of(problem, in_force)), fill_days(work_of(turned, best))
    pushed = [job for job in after if job != name and before.get(job) not in (None, after[job])]
    moved = {s.job for s in set(best.stints) ^ set(in_force.stints)} - {name}
    rows = {str(one.pk): one for one in Job.objects.filter(pk__in=moved).select_related("site")}
    pushes = tuple(
        pushed_words(rows[job], before.get(job), after.get(job), slots) for job in sorted(moved, key=pushed.count)
    )
    day = {side: date_format(slots.date(days[name] * DAY_SLOTS), "l j F") for side, days in
           (("old", before), ("new", after)) if name in days}  # fmt: skip
    if before.get(name) == after[name]:
        words = _("%(hours)s, for which the plan has room: full %(new)s as planned.")
    elif name in before:
        words = _("%(hours)s; it would be full %(new)s instead of %(old)s.")
    else:
        words = _("%(hours)s; it would be full %(new)s.")
    return replace(said, sentence=words % {"hours": _hours(said.more_h), **day}, pushes=pushes)


def _hours(more: float) -> str:
    hours = span_words(abs(more))
    if more > 0:
        return _("chip and prep takes %(hours)s of work more") % {"hours": hours}
    return _("chip and prep takes %(hours)s of work less") % {"hours": hours}
