"""Keep what a finished stint took beside what was expected of it; forget what was learned, with its trail."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from jobs.models import LearningReset, Measured, Outcome
from jobs.selectors.learned import firm_figures, firm_rates
from jobs.selectors.quantities import job_quantities, scope_latest
from jobs.timeline.learned import FOLLOWS, LARGEST, SMALLEST
from jobs.timeline.rates import Rates
from scheduling.models import Stage, Stint, StintState
from scheduling.selectors.plaster_record import day_record
from shared import clock
from shared.models import Firm, Membership
from shared.services.audit import audit_note

HOURS_OF: Final = {  # stages whose hours are learned
    Stage.DRAIN_SETUP: Measured.DRAIN_SETUP,
    Stage.DRAIN_PULL: Measured.DRAIN_PULL,
    Stage.PREP: Measured.PREP,
    Stage.BOND: Measured.BOND,
    Stage.BOND_AGAIN: Measured.BOND,
    Stage.FILL_START: Measured.FILL_START,
}
BEYOND_REASON: Final = "beyond all reason"  # kept on record, never counted


@dataclass(frozen=True)
class _Found:
    what: str
    expected_h: float
    planned_h: float | None
    took_h: float
    data: dict[str, Any] = field(default_factory=dict)


@transaction.atomic
def outcomes_note(stint: Stint) -> list[Outcome]:
    """Write down what this finished stint says about hours and set times; what was left out stays left out."""
    if stint.state != StintState.DONE:
        return []
    firm = Firm.objects.get()
    found = _plaster(stint, firm) if stint.stage == Stage.PLASTER else _hours(stint, firm)
    at = stint.done_at or clock.now()
    return [_keep(stint, one, at) for one in found if one.took_h > 0 and one.expected_h > 0]


def _keep(stint: Stint, found: _Found, at: dt.datetime) -> Outcome:
    beyond = not SMALLEST <= found.took_h / found.expected_h <= LARGEST
    values = {
        "job": stint.job,
        "at": at,
        "by": stint.crew.name,
        "expected_h": found.expected_h,
        "planned_h": found.planned_h,
        "took_h": found.took_h,
        "data": found.data,
    }
    outcome, new = Outcome.objects.get_or_create(
        stint_id=stint.pk, what=found.what, defaults={**values, "left_out": BEYOND_REASON if beyond else ""}
    )
    if not new:
        for name, value in values.items():
            setattr(outcome, name, value)
        if beyond or outcome.left_out == BEYOND_REASON:
            outcome.left_out = BEYOND_REASON if beyond else ""
        outcome.save()
    return outcome


def _hours(stint: Stint, firm: Firm) -> list[_Found]:
    what = HOURS_OF.get(Stage(stint.stage))
    if what is None or not stint.hours_worked:
        return []
    expected = _stage_h(stint, what, firm_figures(firm))
    planned = _stage_h(stint, what, firm_rates(firm))
    return [] if expected is None else [_Found(what, expected, planned, stint.hours_worked)]


def _stage_h(stint: Stint, what: str, rates: Rates) -> float | None:
    """Hours of this crew on this job by these rates; None without a scope."""
    if what in (Measured.DRAIN_SETUP, Measured.DRAIN_PULL, Measured.FILL_START):
        return float(getattr(rates, next(iter(FOLLOWS[what]))))
    scope = scope_latest(stint.job)
    if scope is None:
        return None
    work = job_quantities(stint.job, scope, rates)
    return work.bond_h if what == Measured.BOND else work.prep_person_h / stint.crew.people


def _plaster(stint: Stint, firm: Firm) -> list[_Found]:
    """Laying from the sections tapped, set time from the passes made."""
    try:
        record = day_record(stint, firm)
    except ValueError:  # taps that no day can have; the sheet itself says so
        return []
    if record is None or (record.typical and Outcome.objects.filter(stint_id=stint.pk, what=Measured.SET).exists()):
        return []  # nothing new can be said: the weather of the day is gone
    kept = {"record": record.as_json()}
    figures, in_use = firm_figures(firm), firm_rates(firm)
    found = []
    if record.laying_h is not None:
        planned = record.planned_laying_h * figures.laying_m2_h / in_use.laying_m2_h
        found.append(_Found(Measured.LAYING, record.planned_laying_h, planned, record.laying_h, kept))
    if record.evidence is not None:
        usual = figures.reference_set_h
        data = {"passes": record.evidence.passes, **kept}
        took = usual * record.evidence.ratio
        found.append(_Found(Measured.SET, usual, in_use.reference_set_h, took, data))
    return found


@transaction.atomic
def outcome_count(outcome: Outcome, *, counts: bool, by: Membership, why: str = "") -> Outcome:
    """Leave an outcome out, with the reason, or let it count again."""
    if not counts and not why.strip():
        raise ValidationError({"why": _("Say why it does not count.")})
    before = outcome.left_out
    outcome.left_out = "" if counts else why.strip()[:160]
    outcome.save(update_fields=["left_out"])
    what = "outcome counts again" if counts else "outcome left out"
    audit_note(by, what, outcome, before={"left_out": before}, after={"left_out": outcome.left_out})
    return outcome


@transaction.atomic
def learning_reset(what: str, *, by: Membership, why: str = "") -> LearningReset:
    """Begin anew with this figure: only what is finished from now on counts. Nothing is deleted."""
    if what not in Measured.values:
        raise ValidationError({"what": _("“%(what)s” is not learned.") % {"what": what}})
    reset = LearningReset.objects.create(what=what, at=clock.now(), by=by.person.name, why=why.strip()[:160])
    audit_note(by, "learning begun anew", reset, after={"what": what, "why": reset.why})
    return reset
