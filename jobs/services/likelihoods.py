"""A firm's own likelihoods of the survey: kept as a whole table, one observation changed at a time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from jobs.condition.likelihoods import table_from_rows, table_rows
from shared.models import Firm, Membership
from shared.services.audit import audit_note

OWN = "own"


@transaction.atomic
def likelihoods_set(firm: Firm, name: str, probabilities: Sequence[Mapping[str, float]], *, by: Membership) -> Firm:
    """Keep the firm's own figures of one observation, one mapping {outcome: 0 to 1} for each of its cases."""
    firm = Firm.objects.select_for_update(no_key=True).get(pk=firm.pk)
    usual, present = table_rows(), _rows_of(firm)
    places = [n for n, row in enumerate(usual) if row["observation"] == name]
    if not places or len(places) != len(probabilities):
        raise ValidationError(
            _("Likelihoods of %(name)s have %(given)s lines; they must be %(needed)s.")
            % {"name": name, "given": len(probabilities), "needed": len(places)}
        )
    wanted = list(present)
    for place, given in zip(places, probabilities, strict=True):
        is_usual = all(abs(given.get(key, -1.0) - p) < 1e-9 for key, p in usual[place]["probabilities"].items())
        wanted[place] = usual[place] if is_usual else {**usual[place], "probabilities": dict(given), "mark": OWN}
    try:
        table_from_rows(wanted)
    except ValueError as refused:
        raise ValidationError(str(refused)) from refused
    return _keep(firm, name, wanted, present, by)


@transaction.atomic
def likelihoods_reset(firm: Firm, name: str, *, by: Membership) -> Firm:
    """Back to the usual figures: of one observation, or of all with an empty name."""
    firm = Firm.objects.select_for_update(no_key=True).get(pk=firm.pk)
    present = _rows_of(firm)
    wanted = [
        mine if name and mine["observation"] != name else usual
        for mine, usual in zip(present, table_rows(), strict=True)
    ]
    return _keep(firm, name, wanted, present, by)


def _rows_of(firm: Firm) -> list[dict[str, Any]]:
    """The table in force; kept rows that no longer fit the catalogue's own count for nothing."""
    kept, usual = firm.likelihoods.get("rows") or [], table_rows()
    same = [(row.get("observation"), row.get("when")) for row in kept] == [
        (row["observation"], row["when"]) for row in usual
    ]
    return list(kept) if same else usual


def _keep(firm: Firm, name: str, wanted: list[Any], before: list[Any], by: Membership) -> Firm:
    moved = [
        (old, new) for old, new in zip(before, wanted, strict=True) if old["probabilities"] != new["probabilities"]
    ]
    if not moved:
        return firm
    firm.likelihoods = {} if wanted == table_rows() else {"rows": wanted}
    firm.save(update_fields=["likelihoods"])
    audit_note(
        by,
        "likelihoods changed",
        firm,
        before={"of": name or "all", "lines": [_line(old) for old, _new in moved]},
        after={"of": name or "all", "lines": [_line(new) for _old, new in moved]},
    )
    return firm


def _line(row: Mapping[str, Any]) -> dict[str, Any]:
    return {"observation": row["observation"], "when": row["when"], "probabilities": row["probabilities"]}
