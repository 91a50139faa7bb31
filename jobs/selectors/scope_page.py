"""What the scope's page shows: the proposal, what else may be chosen, and the quantities of each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from jobs.condition.quantities import Quantities
from jobs.condition.scope import Scope as Decision
from jobs.condition.scope_steps import KIND_SENTENCES, ScopeKind
from jobs.models import Job, Scope, Survey
from jobs.selectors.condition import scope_draft, scope_proposed
from jobs.selectors.quantities import Bags, bags_of, firm_rates, job_quantities
from shared.models import Firm

KIND_NAMES: Final[dict[str, str]] = {
    "cut_and_taper": "cut and taper at the tile line",
    "overlay": "straight over the old coat",
    "strip": "strip to the shell",
    "profile_and_coat": "profile and coat",
    "coat_the_shell": "coat the shell",
    "remove_laminate": "take the laminate off to the shell",
    "outside_scope": "outside the plaster scope",
}


@dataclass(frozen=True)
class Choice:
    """A scope that may be agreed: its sentence, probability (None where it is only allowed) and days of prep."""

    kind: ScopeKind
    sentence: str
    probability: float | None
    prep_days: float | None
    proposed: bool


@dataclass(frozen=True)
class ScopePage:
    """The proposal of the latest survey with its choices and the quantities of the chosen one."""

    decision: Decision
    choices: tuple[Choice, ...]
    chosen: str
    draft: Scope
    quantities: Quantities | None
    bags: Bags | None


def scope_page(job: Job, survey: Survey, firm: Firm, *, kind: str = "", repairs_h: float = 0.0) -> ScopePage:
    """The page for one choice; *kind* empty shows the proposal."""
    decision = scope_proposed(job, survey)
    choices = scope_choices(decision)
    chosen = kind if kind in {choice.kind for choice in choices} else decision.kind
    draft = scope_draft(job, survey, decision, chosen, repairs_h=repairs_h)
    found = None if chosen == "outside_scope" else job_quantities(job, draft, firm_rates(firm))
    bags = None if found is None else bags_of(found, firm.units)
    return ScopePage(decision, choices, chosen, draft, found, bags)


def scope_choices(decision: Decision) -> tuple[Choice, ...]:
    """The proposal first, then the other outcomes, then what is allowed besides.

    Straight over the old coat goes where one may cut back; a tiled interior may be stripped.
    """
    found = [Choice(decision.kind, decision.words, decision.probability, decision.prep_days, True)]
    found += [Choice(o.kind, o.words, o.probability, o.prep_days, False) for o in decision.alternatives]
    kinds = {choice.kind for choice in found}
    if "cut_and_taper" in kinds and "overlay" not in kinds:
        found.append(Choice("overlay", KIND_SENTENCES["overlay"], None, None, False))
    if decision.kind == "outside_scope" and "strip" not in kinds:
        found.append(Choice("strip", KIND_SENTENCES["strip"], None, None, False))
    return tuple(found)
