from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from jobs.condition.scope import Scope as ScopeDecision
from jobs.models import Job, JobState, Scope
from jobs.selectors.condition import finding_of, scope_proposed, strip_share, survey_latest
from jobs.services.states import job_move
from shared import clock
from shared.models import Membership
from shared.services.audit import audit_note


@transaction.atomic
def scope_agree(job: Job, *, by: Membership | str, kind: str = "", why: str = "", repairs_h: float = 0.0) -> Scope:
    """Keep the scope agreed with the pool owner, with what decided it.

    *kind* overrules the trade's rules and needs a reason (*why*).
    """
    survey = survey_latest(job.pool)
    if survey is None:
        raise ValidationError(_("Survey the pool first: a scope needs at least one observation."))
    decision = scope_proposed(job, survey)
    chosen = kind or decision.kind
    _check(decision, chosen, why)
    finding = finding_of(survey)
    answers = {made.name: made.value for made in survey.observations.all()}
    hollow = answers.get("hollow_share")
    coats = max(1, max(finding.coats, key=lambda n: finding.coats[n]))
    scope = Scope.objects.create(
        job=job,
        survey=survey,
        kind=chosen,
        strip_share=strip_share(chosen, None if hollow is None else float(hollow)),
        coats_off=coats,
        painted=finding.painted >= 0.5,
        repairs_h=repairs_h,
        decided=_decided(decision),
        provisional=decision.provisional,
        overruled=why if chosen != decision.kind else "",
        agreed_at=clock.now(),
        agreed_by=by if isinstance(by, str) else by.person.name,
    )
    if job.state == JobState.SURVEYED:
        job_move(job, JobState.SCOPE_AGREED, by=by)
    audit_note(by, "scope agreed", job, after={"kind": chosen, "why": why})
    return scope


def _check(decision: ScopeDecision, chosen: str, why: str) -> None:
    if decision.stopped:
        raise ValidationError(_("No scope before: %(opinions)s.") % {"opinions": "; ".join(decision.opinions_needed)})
    if chosen not in {decision.kind, "overlay", *(other.kind for other in decision.alternatives)}:
        raise ValidationError(_("“%(kind)s” is not among the outcomes of this survey.") % {"kind": chosen})
    if chosen != decision.kind and not why.strip():
        raise ValidationError(_("A scope other than “%(kind)s” needs a reason.") % {"kind": decision.kind})


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
