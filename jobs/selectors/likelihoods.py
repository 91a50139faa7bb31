"""What the firm's page of likelihoods shows: every line in words, with the usual figures beside its own."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from jobs.condition.hypotheses import KIND_WORDS
from jobs.condition.likelihoods import DEFAULT_TABLE, Case
from jobs.condition.observations import BY_NAME, CATALOGUE, Observation
from jobs.selectors.condition import firm_table
from shared.models import AuditEntry, Firm

SHOWN = 10


@dataclass(frozen=True)
class Line:
    """One case: when it holds, in words; probabilities by outcome in force and usual, 0 to 1; where they are from."""

    words: str
    shares: tuple[float, ...]
    usual: tuple[float, ...]
    mark: str

    @property
    def own(self) -> bool:
        return self.shares != self.usual


@dataclass(frozen=True)
class Asked:
    """An observation with its lines."""

    observation: Observation
    lines: tuple[Line, ...]

    @property
    def own(self) -> bool:
        return any(line.own for line in self.lines)

    @property
    def mark(self) -> str:
        """Where all its lines are from, where that is the same for all."""
        marks = {line.mark for line in self.lines}
        return marks.pop() if len(marks) == 1 else ""


@dataclass(frozen=True)
class Changed:
    """One change of the trail."""

    at: dt.datetime
    who: str
    of: str


def likelihoods_asked(name: str | None = None) -> tuple[Asked, ...]:
    """All observations, or the one of this name, with the firm's lines."""
    return tuple(_asked(one) for one in CATALOGUE if name in (None, one.name))


def _asked(observation: Observation) -> Asked:
    mine = [case for case in firm_table() if case.observation == observation.name]
    usual = [case for case in DEFAULT_TABLE if case.observation == observation.name]
    return Asked(
        observation,
        tuple(
            Line(_when(case, number, len(usual)), own.probabilities, case.probabilities, _mark(own))
            for number, (own, case) in enumerate(zip(mine, usual, strict=True))
        ),
    )


def _mark(case: Case) -> str:
    return {"CP": _("common practice, no source"), "M": _("from memory")}.get(case.mark, _("own figure of the firm"))


def _when(case: Case, number: int, of: int) -> str:
    """The conditions in words: "plaster or exposed aggregate, 2 to 4 coats"."""
    if not case.when:
        return _("otherwise") if number and number == of - 1 else _("always")
    return ", ".join(_condition(attribute, allowed) for attribute, allowed in case.when)


def _condition(attribute: str, allowed: Sequence[Any]) -> str:
    if attribute == "kind":
        return _(" or ").join(KIND_WORDS[str(kind)] for kind in allowed)
    if attribute == "coats":
        if len(allowed) > 1:
            return _("%(low)s to %(high)s coats") % {"low": min(allowed), "high": max(allowed)}
        return _("no coat") if allowed[0] == 0 else _("1 coat") if allowed[0] == 1 else f"{allowed[0]} " + _("coats")
    words: Mapping[tuple[str, Any], str] = {
        ("painted", True): _("painted"),
        ("painted", False): _("not painted"),
        ("bonded", True): _("bonded"),
        ("bonded", False): _("not bonded"),
        ("edge", "laid_over"): _("laid over the old coat"),
        ("edge", "cut_back"): _("edge cut back at the tile line"),
        ("edge", "original"): _("never renewed"),
    }
    return _(" or ").join(words[(attribute, value)] for value in allowed)


def likelihood_changes(firm: Firm) -> list[Changed]:
    """Who changed which figures, newest first."""
    found = AuditEntry.objects.filter(subject_id=firm.pk, what="likelihoods changed").order_by("-at", "-id")[:SHOWN]
    return [Changed(entry.at, entry.who, _of(str((entry.after or {}).get("of", "")))) for entry in found]


def _of(name: str) -> str:
    return BY_NAME[name].label if name in BY_NAME else _("all of them")
