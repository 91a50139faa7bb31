from __future__ import annotations

from dataclasses import asdict
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from jobs.condition.scope import Scope as ScopeDecision
from jobs.models import Job, JobState, Scope
from jobs.selectors.condition import scope_draft, scope_proposed, survey_latest
from jobs.services.states import job_move
from shared import clock
from shared.models import Membership
from shared.services.audit import audit_note

REPAIRS_MOST_H: Final = 500.0  # person-hours


@transaction.atomic
def scope_agree(job: Job, *, by: Membership | str, kind: str = "", why: str = "", repairs_h: float = 0.0) -> Scope:
    """Keep the scope agreed with the pool owner, with what decided it.

    *kind* overrules the trade's rules and needs a reason (*why*).
    """
    survey = survey_latest(job.pool)
    if survey is None or not survey.observations.exists():
        raise ValidationError(_("Survey the pool first: a scope needs at least one observation."))
    decision = scope_proposed(job, survey)
    chosen = kind or decision.kind
    _check(job, decision, chosen, why)
    _check_extras(why, repairs_h)
    scope = scope_draft(job, survey, decision, chosen, repairs_h=repairs_h)
    scope.decided = _decided(decision)
    scope.overruled = why if chosen != decision.kind else ""
    scope.agreed_at = clock.now()
    scope.agreed_by = by if isinstance(by, str) else by.person.name
    scope.save()
    if job.state == JobState.SURVEYED:
        job_move(job, JobState.SCOPE_AGREED, by=by)
    audit_note(by, "scope agreed", job, after={"kind": chosen, "why": why})
    return scope


CHANGEABLE = (JobState.SURVEYED, JobState.SCOPE_AGREED, JobState.DATE_PROMISED, JobState.UNDER_WAY)


def _check(job: Job, decision: ScopeDecision, chosen: str, why: str) -> None:
    if job.state not in CHANGEABLE:
        raise ValidationError(_("The scope of a job that is “%(state)s” stands.") % {"state": job.get_state_display()})
    if decision.stopped:
        raise ValidationError(_("No scope before: %(opinions)s.") % {"opinions": "; ".join(decision.opinions_needed)})
    if chosen == "outside_scope":
        raise ValidationError(_("A tiled interior is outside the plaster scope: agree a strip, or call the job off."))
    others = {other.kind for other in decision.alternatives}
    if chosen not in {decision.kind, "overlay", *others} | ({"strip"} if decision.kind == "outside_scope" else set()):
        raise ValidationError(_("“%(kind)s” is not among the outcomes of this survey.") % {"kind": chosen})
    if chosen != decision.kind and not why.strip():
        raise ValidationError({"why": _("A scope other than the proposed one needs a reason.")})


def _check_extras(why: str, repairs_h: float) -> None:
    most = Scope._meta.get_field("overruled").max_length
    if most is not None and len(why) > most:
        raise ValidationError(
            {"why": _("The reason has %(count)d characters; allowed are %(most)d.") % {"count": len(why), "most": most}}
        )
    if not 0 <= repairs_h <= REPAIRS_MOST_H:
        raise ValidationError(
            {
                "repairs_h": _("Repairs are %(value)g h; allowed is 0 to %(most)g h.")
                % {"value": repairs_h, "most": REPAIRS_MOST_H}
            }
        )


def _decided(decision: ScopeDecision) -> dict[str, Any]:
    return {
        "words": decision.words,
        "probability": decision.probability,
        "steps": [asdict(step) for step in decision.steps],
        "decided_by": list(decision.decided_by),
        "would_change": list(decision.would_change),
        "alternatives": [
            {"kind": other.kind, "probability": other.probability, "words": other.words}
            for other in decision.alternatives
        ],
        "opinions_needed": list(decision.opinions_needed),
        "cautions": list(decision.cautions),
    }
