"""A proposal becomes the issued plan as a whole, checked again; nobody's calendar changes before."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from jobs.models import Job, JobState
from jobs.selectors.clearance import drain_clearance, drain_clearances
from jobs.services.states import job_move
from scheduling.clock_nights import late_attendants
from scheduling.models import Crew, Plan, PlanState, Stage, Stint, StintState
from scheduling.selectors.move_reasons import move_reasons
from scheduling.selectors.plan_stints import DRAIN, stage_of, timed_stints
from scheduling.selectors.problem import PLANNED, PlanningProblem
from scheduling.services.calendars import calendar_refresh
from scheduling.services.hooks import plan_tell
from scheduling.services.outcomes import outcomes_note
from scheduling.slots import SlotClock
from scheduling.solver import check as checker
from scheduling.solver.collisions import collision
from scheduling.solver.objective import terms
from scheduling.solver.plan import Plan as Answer
from scheduling.solver.problem import Problem
from shared import clock
from shared.models import Contractor, Membership
from shared.services.audit import audit_note

DROPPED = StintState.DROPPED
LATE = dt.timedelta(hours=2)  # [CP] a plan read for a while may still be issued, and its first crew comes later
MOST_EXPLAINED = 8  # jobs left out of a proposal whose reason is looked for
MOVABLE = (StintState.ISSUED, StintState.PROPOSED)
Timed = Mapping[tuple[str, str], tuple[str, dt.datetime, dt.datetime]]


class PlanOutdated(ValidationError):
    """Another plan was issued since this one was made."""


@transaction.atomic
def plan_propose(
    contractor: Contractor,
    found: PlanningProblem,
    answer: Answer,
    *,
    greedy: int | None,
    why: str = "",
    findings: Mapping[str, Any] | None = None,
) -> Plan:
    """Keep an answer of the planner as a proposal, with what was found besides; refused unless every rule holds."""
    problem = Problem.from_json(found.document)
    broken = checker.check(problem, answer)
    if broken:
        first = broken[0]
        raise ValidationError(_("The plan breaks the rule “%(rule)s”: %(detail)s") % first)
    if late_attendants(problem, answer, found.clock):
        raise ValidationError(_("On a night on which the clocks change, nobody would be there when the pool is full."))
    left_words = _left_words(problem, answer, found)
    Contractor.objects.select_for_update(no_key=True).get(pk=contractor.pk)
    Plan.objects.filter(state=PlanState.PROPOSED, branch=found.branch).update(state=PlanState.PAST)
    version = (Plan.objects.aggregate(last=Max("version"))["last"] or 0) + 1
    return Plan.objects.create(
        state=PlanState.PROPOSED,
        branch=found.branch,
        version=version,
        base_version=found.base_version,
        first_day=found.clock.first_day,
        problem=found.document,
        answer={**answer.to_json(), **left_words, **(findings or {})},
        objective=terms(problem, answer).objective if answer.objective is None else answer.objective,
        bound=answer.bound,
        greedy=greedy,
        why=why[:160],
    )


def _left_words(problem: Problem, answer: Answer, found: PlanningProblem) -> dict[str, Any]:
    """Which facts keep each job out (of the first few: each takes up to a second), and what was never asked."""
    return {
        "left_out": {job: list(collision(problem, answer, job)) for job in answer.unplanned[:MOST_EXPLAINED]},
        "left_aside": {str(job.pk): reason for job, reason in found.left_aside},
    }


@transaction.atomic
def plan_issue(contractor: Contractor, plan: Plan, *, by: Membership | str) -> Plan:
    """Issue a proposal: stints are moved, added and dropped, then the calendars follow.

    Raises
    ------
    PlanOutdated
        When another plan was issued since the proposal was made; nothing is changed.
    ValidationError
        When the plan is no proposal or breaks a rule.
    """
    Contractor.objects.select_for_update(no_key=True).get(pk=contractor.pk)
    plan.refresh_from_db()
    if plan.state != PlanState.PROPOSED:
        raise ValidationError(_("This plan is no longer a proposal."))
    issued = Plan.objects.filter(state=PlanState.ISSUED, branch=plan.branch).first()
    if (issued.version if issued else 0) != plan.base_version:
        raise PlanOutdated(
            _("Plan %(mine)s was made from plan %(base)s, but plan %(now)s is in force: ask for a new proposal.")
            % {"mine": plan.version, "base": plan.base_version, "now": issued.version if issued else 0}
        )
    broken = checker.check(Problem.from_json(plan.problem), Answer.from_json(plan.answer))
    if broken:
        raise ValidationError(_("The plan breaks the rule “%(rule)s”: %(detail)s") % broken[0])
    now = clock.now()
    if issued is not None:
        issued.state = PlanState.PAST
        issued.save(update_fields=["state"])
    plan.state, plan.issued_at = PlanState.ISSUED, now
    plan.issued_by = by if isinstance(by, str) else by.person.name
    plan.save(update_fields=["state", "issued_at", "issued_by"])
    slots = SlotClock(plan.first_day, contractor.tz)
    why = move_reasons(plan, slots)  # before the stints in force are replaced
    touched = _stints_replace(plan, slots)
    calendar_refresh(contractor, touched, at=now, why=why)
    plan_tell(contractor, plan)
    audit_note(by, "plan issued", plan, after={"version": plan.version, "objective": plan.objective})
    return plan


@transaction.atomic
def plan_set_aside(plan: Plan, *, by: Membership | str) -> Plan:
    """None of a proposal: the plan in force stays as it is."""
    plan.state = Plan.objects.select_for_update(no_key=True).values_list("state", flat=True).get(pk=plan.pk)
    if plan.state != PlanState.PROPOSED:
        raise ValidationError(_("This plan is no longer a proposal."))
    plan.state = PlanState.PAST
    plan.save(update_fields=["state"])
    audit_note(by, "plan set aside", plan, after={"version": plan.version})
    return plan


def _stints_replace(plan: Plan, slots: SlotClock) -> list[Job]:
    wanted = timed_stints(Problem.from_json(plan.problem), Answer.from_json(plan.answer), slots)
    # Jobs before stints: the order in which everything else locks them.
    rows = Job.objects.select_for_update(no_key=True).filter(
        pk__in={job for job, _ in wanted} | set(_planned_ids(plan))
    )
    jobs = {str(job.pk): job for job in rows.order_by("pk")}
    alive = list(Stint.objects.select_for_update(no_key=True).filter(job__in=jobs.values()).exclude(state=DROPPED))
    _check_still_holds(plan, wanted, jobs, alive)
    crews = {str(crew.pk): crew for crew in Crew.objects.all()}
    present = {(str(stint.job_id), stint.key): stint for stint in alive if stint.state in MOVABLE}
    cleared = {str(pk): found.cleared for pk, found in drain_clearances(jobs.values(), clock.now()).items()}
    new, changed = [], []
    for (job_id, key), (crew_id, starts, ends) in wanted.items():
        stint = present.pop((job_id, key), None)
        if stint is None:
            stint = Stint(contractor_id=plan.contractor_id, job=jobs[job_id], key=key, stage=stage_of(key))
            new.append(stint)
        else:
            changed.append(stint)
        stint.plan, stint.crew, stint.starts, stint.ends = plan, crews[crew_id], starts, ends
        held = stint.stage in DRAIN and not cleared[job_id]
        stint.state = StintState.PROPOSED if held else StintState.ISSUED
    fixed = {(str(job["id"]), row["stage"]): row["start"] for job in plan.problem["jobs"] for row in job["fixed"]}
    now, past = clock.now(), plan.problem["now"]
    # What is fixed in the past though it is still ahead and nobody keeps it lies before a stage that was logged.
    gone = [
        s.pk
        for place, s in present.items()
        if place not in fixed or (s.starts > now and not s.kept and fixed[place] < past)
    ]
    Stint.objects.filter(pk__in=[s.pk for s in present.values() if s.pk not in gone]).update(plan=plan)
    longer = _lengths_follow(plan, slots, [s for s in present.values() if s.pk not in gone and not s.kept])
    Stint.objects.bulk_update(longer, ["ends"], batch_size=500)
    Stint.objects.bulk_create(new)
    Stint.objects.bulk_update(changed, ["plan", "crew", "starts", "ends", "state"], batch_size=500)
    Stint.objects.filter(pk__in=gone).update(state=DROPPED)
    return list(jobs.values())


def _lengths_follow(plan: Plan, slots: SlotClock, stay: Iterable[Stint]) -> list[Stint]:
    """Stints that begin soon and stay where they are, but end at another time: their work has grown or shrunk."""
    ends = {
        (str(job["id"]), row["stage"]): slots.instant(row["end"])
        for job in plan.problem["jobs"]
        for row in job["fixed"]
        if row["start"] >= plan.problem["now"]
    }
    changed = []
    for stint in stay:
        until = ends.get((str(stint.job_id), stint.key), stint.ends)
        if until != stint.ends and stint.starts > clock.now():
            stint.ends = until
            changed.append(stint)
    return changed


def _check_still_holds(plan: Plan, wanted: Timed, jobs: Mapping[str, Job], alive: Iterable[Stint]) -> None:
    """What happened on site or in the office since the proposal was made may have overtaken it."""
    overtaken: list[str] = []
    over = {job_id for job_id, job in jobs.items() if job.state not in PLANNED}
    overtaken += [_("job %(number)s is “%(state)s”") % _job_words(jobs[job_id]) for job_id in sorted(over)]
    now, present = clock.now(), {}
    for stint in alive:
        job, place = jobs[str(stint.job_id)], (str(stint.job_id), stint.key)
        present[place] = stint
        words = {"stage": stint.get_stage_display(), "number": job.number}
        if stint.state in (StintState.BEGUN, StintState.DONE):
            if place in wanted:
                overtaken.append(_("“%(stage)s” of job %(number)s has begun") % words)
        elif wanted.get(place, ("", None))[:2] != (str(stint.crew_id), stint.starts):
            if stint.kept and place in wanted:
                overtaken.append(_("“%(stage)s” of job %(number)s keeps its day") % words)
            elif stint.state == StintState.ISSUED and stint.starts <= now and place in wanted:
                overtaken.append(_("“%(stage)s” of job %(number)s was to begin") % words)
    for place, (_crew, starts, _ends) in wanted.items():
        if starts < now - LATE and (place not in present or present[place].starts != starts):
            words = {"stage": Stage(stage_of(place[1])).label, "number": jobs[place[0]].number}
            overtaken.append(_("“%(stage)s” of job %(number)s would begin in the past") % words)
    if overtaken:
        raise PlanOutdated(
            _("Since plan %(mine)s was made, %(what)s: ask for a new proposal.")
            % {"mine": plan.version, "what": "; ".join(overtaken[:3])}
        )


def _job_words(job: Job) -> dict[str, Any]:
    return {"number": job.number, "state": job.get_state_display()}


def _planned_ids(plan: Plan) -> Iterable[str]:
    return (job["id"] for job in plan.problem["jobs"])


@transaction.atomic
def drain_release(job: Job, *, by: Membership | str) -> int:
    """Issue held drain stints once the groundwater record is there; returns how many."""
    _lock(job)
    if not drain_clearance(job, clock.now()).cleared:
        return 0
    held = Stint.objects.filter(job=job, state=StintState.PROPOSED, stage__in=DRAIN, plan__state=PlanState.ISSUED)
    count = held.update(state=StintState.ISSUED)
    if count:
        audit_note(by, "drain released", job)
    return count


def _lock(job: Job, stint: Stint | None = None) -> None:
    """Nobody else marks or moves these meanwhile; their states are those that are kept. Jobs before stints."""
    job.state = Job.objects.select_for_update(no_key=True).values_list("state", flat=True).get(pk=job.pk)
    if stint is not None:
        kept = Stint.objects.select_for_update(no_key=True).values_list("state", "kept").get(pk=stint.pk)
        stint.state, stint.kept = kept


# What the first begun or done stint of a stage makes of its job.
_STATE_AFTER: Mapping[tuple[str, str], str] = {
    (Stage.FILL_START, StintState.BEGUN): JobState.FILLING,
    (Stage.FILL_START, StintState.DONE): JobState.FILLING,
    (Stage.FILL_END, StintState.DONE): JobState.FIRST_MONTH,
    ("startup_28", StintState.DONE): JobState.FINISHED,
}


@transaction.atomic
def stint_mark(stint: Stint, state: str, *, at: dt.datetime, by: Membership | str, hours: float | None = None) -> Stint:
    """Begun or done; the job's state follows."""
    _lock(stint.job, stint)
    if stint.state == state:
        return stint
    if stint.state not in (StintState.ISSUED, StintState.BEGUN) or state not in (StintState.BEGUN, StintState.DONE):
        raise ValidationError(
            _("A stint that is “%(now)s” cannot become “%(then)s”.")
            % {"now": stint.get_state_display(), "then": StintState(state).label}
        )
    if stint.stage == Stage.START_UP and stint.job.state not in (JobState.FIRST_MONTH, JobState.FINISHED):
        raise ValidationError(_("The pool is not full yet: log the end of the fill before a visit of the first month."))
    stint.state = state
    if state == StintState.BEGUN:
        stint.begun_at = at
    else:
        stint.done_at, stint.hours_worked = at, hours
        stint.begun_at = stint.begun_at or min(stint.starts, at)
    stint.save(update_fields=["state", "begun_at", "done_at", "hours_worked"])
    _job_follow(stint, state, at, by)
    audit_note(by, f"stint {state}", stint, after={"stage": stint.key})
    outcomes_note(stint)
    calendar_refresh(stint.job.contractor, [stint.job], at=clock.now())
    return stint


@transaction.atomic
def stint_unbegin(stint: Stint, *, by: Membership | str) -> Stint:
    """It was not begun after all (a mis-tap): issued again. What began with it stays: the job is under way."""
    _lock(stint.job, stint)
    if stint.state != StintState.BEGUN:
        return stint
    before = stint.begun_at
    stint.state, stint.begun_at = StintState.ISSUED, None
    stint.save(update_fields=["state", "begun_at"])
    audit_note(by, "stint not begun", stint, before={"begun_at": str(before)}, after={"stage": stint.key})
    calendar_refresh(stint.job.contractor, [stint.job], at=clock.now())
    return stint


@transaction.atomic
def stint_undone(stint: Stint, *, by: Membership | str, why: str) -> Stint:
    """It did not happen as planned: the stint is dropped, and the next plan finds another time for the stage."""
    _lock(stint.job, stint)
    if stint.state not in (StintState.ISSUED, StintState.BEGUN, StintState.PROPOSED):
        raise ValidationError(_("A stint that is “%(now)s” cannot be taken back.") % {"now": stint.get_state_display()})
    stint.state = StintState.DROPPED
    stint.save(update_fields=["state"])
    audit_note(by, "stint not done", stint, after={"stage": stint.key, "why": why})
    calendar_refresh(stint.job.contractor, [stint.job], at=clock.now())
    return stint


@transaction.atomic
def stint_keep(stint: Stint, *, kept: bool, by: Membership | str) -> Stint:
    """Keep this day, so that the planner may not move the stint; or let it move again."""
    _lock(stint.job, stint)
    if stint.state not in (StintState.ISSUED, StintState.PROPOSED):
        raise ValidationError(_("A stint that is “%(now)s” stays where it is.") % {"now": stint.get_state_display()})
    if stint.kept != kept:
        stint.kept = kept
        stint.save(update_fields=["kept"])
        audit_note(by, "day kept" if kept else "day may move", stint, after={"stage": stint.key})
    return stint


def _job_follow(stint: Stint, state: str, at: dt.datetime, by: Membership | str) -> None:
    job = stint.job
    if job.state in (JobState.SCOPE_AGREED, JobState.DATE_PROMISED):
        job_move(job, JobState.UNDER_WAY, by=by)
    target = _STATE_AFTER.get((stint.stage, state)) or _STATE_AFTER.get((stint.key, state))
    if target == JobState.FIRST_MONTH:
        if job.state == JobState.UNDER_WAY:
            job_move(job, JobState.FILLING, by=by)
        job_move(job, target, by=by, filled_on=at.astimezone(job.site.tz).date())
    elif target is not None:
        job_move(job, target, by=by)


def issued_facts(plan: Plan) -> dict[str, Any]:
    """Objective, bound and what a plain day-by-day plan would have cost."""
    return {"objective": plan.objective, "bound": plan.bound, "greedy": plan.greedy, "version": plan.version}
