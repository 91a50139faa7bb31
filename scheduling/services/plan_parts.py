"""Parts of proposals: some of the moves are issued, or one stint at a place that the office chose is proposed."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from scheduling.clock_nights import late_attendants
from scheduling.models import Plan, PlanState
from scheduling.selectors.plan_stints import answer_in_force, stints_in_force
from scheduling.selectors.problem import PlanningProblem
from scheduling.services.plans import plan_issue, plan_propose
from scheduling.slots import SlotClock
from scheduling.solver.alternatives import placed
from scheduling.solver.check import check
from scheduling.solver.objective import terms
from scheduling.solver.partial import Move, Moves, moves_between, moves_needed, with_moves
from scheduling.solver.plan import Plan as Answer
from scheduling.solver.problem import Problem
from shared.models import Contractor, Membership
from shared.services.audit import audit_note


class MovesNeeded(ValidationError):
    """Some moves of a proposal cannot be taken without others; `needed` are the fewest."""

    def __init__(self, taken: Moves, needed: Moves) -> None:
        self.taken, self.needed = taken, needed
        super().__init__(_("What you chose breaks a rule by itself; nothing was issued."))


@transaction.atomic
def plan_issue_some(contractor: Contractor, plan: Plan, taken: Collection[Move], *, by: Membership | str) -> Plan:
    """Issue some moves of a proposal; the rest of the plan in force stays as it is.

    Raises
    ------
    MovesNeeded
        When the moves need others; nothing is changed.
    PlanOutdated, ValidationError
        As `plan_issue`.
    """
    Contractor.objects.select_for_update(no_key=True).get(pk=contractor.pk)
    plan.refresh_from_db()
    problem, proposed = Problem.from_json(plan.problem), Answer.from_json(plan.answer)
    slots = SlotClock(plan.first_day, contractor.tz)
    in_force = answer_in_force(problem, stints_in_force(problem), slots)
    every = moves_between(in_force, proposed)
    chosen = every & frozenset(taken)
    if not chosen:
        raise ValidationError(_("No move was chosen: tick at least one, or keep the plan in force."))
    if chosen == every:
        return plan_issue(contractor, plan, by=by)
    needed = moves_needed(problem, in_force, proposed, chosen)
    if needed:
        raise MovesNeeded(chosen, needed)
    part = with_moves(problem, in_force, proposed, chosen)
    if late_attendants(problem, part, slots):
        raise ValidationError(_("On a night on which the clocks change, nobody would be there when the pool is full."))
    made = _part_of(plan, problem, part)
    audit_note(by, "plan taken in part", plan, after={"moves": len(chosen), "of": len(every), "as": made.version})
    return plan_issue(contractor, made, by=by)


def _part_of(plan: Plan, problem: Problem, part: Answer) -> Plan:
    """A proposal of its own, in the place of the one that it is taken from."""
    if plan.state != PlanState.PROPOSED:
        raise ValidationError(_("This plan is no longer a proposal."))
    plan.state = PlanState.PAST
    plan.save(update_fields=["state"])
    version = (Plan.objects.aggregate(last=Max("version"))["last"] or 0) + 1
    return Plan.objects.create(
        state=PlanState.PROPOSED,
        branch=plan.branch,
        version=version,
        base_version=plan.base_version,
        first_day=plan.first_day,
        problem=plan.problem,
        answer={**part.to_json(), **_kept_words(plan.answer)},
        objective=terms(problem, part).objective,
        bound=None,
        greedy=None,
        why=(_("part of plan %(version)s") % {"version": plan.version})[:160],
    )


def _kept_words(answer: Mapping[str, object]) -> dict[str, object]:
    return {name: answer[name] for name in ("left_out", "left_aside") if name in answer}


def stint_propose(
    contractor: Contractor, found: PlanningProblem, stint: Move, crew: str, start: int, *, why: str
) -> Plan:
    """Propose the plan in force with one stint at another place; what has to give way is planned anew.

    Raises
    ------
    ValidationError
        When the stint cannot be there, or the plan in force breaks a rule elsewhere.
    """
    problem = Problem.from_json(found.document)
    in_force = answer_in_force(problem, stints_in_force(problem), found.clock)
    if crew not in problem.crew_of or not 0 <= start < problem.end:
        raise ValidationError(_("There is no such crew or day in the plan."))
    moved = placed(problem, in_force, stint, crew, start)
    if moved is None:
        raise ValidationError(_("It cannot be there: no plan keeps all rules with it at that time."))
    if check(problem, moved):
        raise ValidationError(
            _("The plan in force breaks a rule by itself, so ask for a new plan first and move the stint then.")
        )
    findings = {"by_hand": ":".join(stint)}
    return plan_propose(contractor, found, moved, greedy=None, why=why, findings=findings)
