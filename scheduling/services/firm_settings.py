"""A firm's own settings: units and equipment, weather limits, production rates, planner weights."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from jobs.timeline.learned import FOLLOWS
from jobs.timeline.limits import LIMIT_CATALOGUE, Limits
from jobs.timeline.rates import Rates, rates_of
from jobs.timeline.start_up_settings import StartUpSettings, settings_of
from scheduling.services.outcomes import learning_reset
from shared.models import Firm, Membership
from shared.services.audit import audit_note


@transaction.atomic
def firm_change(firm: Firm, *, by: Membership, **wanted: Any) -> Firm:
    """Change units, contact, equipment or weights."""
    before = {name: getattr(firm, name) for name in wanted}
    for name, value in wanted.items():
        setattr(firm, name, value)
    firm.clean_fields(exclude={field.name for field in Firm._meta.fields} - set(wanted))
    firm.save(update_fields=list(wanted))
    audit_note(by, "firm changed", firm, before=before, after=wanted)
    return firm


@transaction.atomic
def limits_set(firm: Firm, values: dict[str, float], *, by: Membership) -> Firm:
    """Keep the firm's own limits; a value that is the default is not kept. Hard limits may only be tightened."""
    own = {name: value for name, value in values.items() if value != LIMIT_CATALOGUE[name].default}
    try:
        Limits().tightened(**own)
    except ValueError as refused:
        raise ValidationError(str(refused)) from refused
    return _keep(firm, "limits", own, by)


@transaction.atomic
def rates_set(firm: Firm, values: dict[str, float], *, by: Membership) -> Firm:
    """Keep the firm's own production rates; a value that is the default is not kept.

    A figure that was changed is learned anew: what was finished before was held against another one.
    """
    usual = Rates()
    own = {name: value for name, value in values.items() if value != getattr(usual, name)}
    try:
        rates_of(own)
    except ValueError as refused:
        raise ValidationError(str(refused)) from refused
    changed = {name for name in {*firm.rates, *own} if firm.rates.get(name) != own.get(name)}
    for what, names in FOLLOWS.items():
        if changed & names.keys():
            learning_reset(what, by=by, why="the figure was changed")
    return _keep(firm, "rates", own, by)


def _keep(firm: Firm, field: str, own: dict[str, Any], by: Membership) -> Firm:
    """Store one group of settings; the audit trail names only what changed."""
    before: dict[str, Any] = getattr(firm, field)
    names = {name for name in {*before, *own} if before.get(name) != own.get(name)}
    if names:
        setattr(firm, field, own)
        firm.save(update_fields=[field])
        audit_note(
            by,
            f"{field} changed",
            firm,
            before={name: before.get(name) for name in sorted(names)},
            after={name: own.get(name) for name in sorted(names)},
        )
    return firm


@transaction.atomic
def start_up_set(firm: Firm, values: dict[str, Any], *, by: Membership) -> Firm:
    """Keep the firm's own figures of the first month; a figure that is common practice is not kept."""
    try:
        wanted = settings_of(values)
    except ValueError as refused:
        raise ValidationError(str(refused)) from refused
    usual = StartUpSettings()
    own: dict[str, Any] = {}
    for name in values:
        mine, common = getattr(wanted, name), getattr(usual, name)
        if name == "days":
            mine = {thing: day for thing, day in mine.items() if day != common[thing]}
            if mine:
                own[name] = mine
        elif mine != common:
            own[name] = list(mine) if isinstance(mine, tuple) else mine
    return _keep(firm, "start_up", own, by)


@transaction.atomic
def words_set(firm: Firm, words: dict[str, dict[str, str]], *, by: Membership) -> Firm:
    """Keep the firm's own sentences by place and language; what is empty falls back to what is usually said."""
    return _keep(firm, "words", words, by)
