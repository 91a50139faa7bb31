"""What longer hours of one water crew would win, in a sentence."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from scheduling.models import Crew
from scheduling.selectors.decisions import days_words
from scheduling.slots import SLOT_MIN
from scheduling.words import clock_words


@dataclass(frozen=True)
class DutyFinding:
    """A sentence, and the crew whose hours it is about."""

    words: str
    crew: Crew


def duty_findings(rows: Iterable[Mapping[str, Any]], units: str) -> list[DutyFinding]:
    """Findings that a plan keeps; a crew that is gone has none."""
    listed = list(rows)
    crews = {str(crew.pk): crew for crew in Crew.objects.filter(pk__in=[row["crew"] for row in listed])}
    return [
        DutyFinding(_words(row, crews[row["crew"]], units), crews[row["crew"]])
        for row in listed
        if row["crew"] in crews
    ]


def _words(row: Mapping[str, Any], crew: Crew, units: str) -> str:
    hours = {"crew": crew.name, "first": _clock(row["first"], units), "last": _clock(row["last"], units)}
    if row["kind"] == "sunday":
        said = _("If %(crew)s worked Sundays too, from %(first)s to %(last)s,") % hours
    else:
        said = _("If %(crew)s stayed until %(last)s for an evening watch,") % hours
    won = ngettext(
        "%(jobs)s pool would be full sooner, by %(days)s in all",
        "%(jobs)s pools would be full sooner, by %(days)s in all",
        row["jobs_sooner"],
    ) % {"jobs": row["jobs_sooner"], "days": days_words(row["days_won"])}
    late = row["late_days_saved"]
    saved = ngettext("%(days)s day less late", "%(days)s days less late", late) % {"days": late} if late > 0 else ""
    return f"{said} {won}" + (f", {saved}." if saved else ".")


def _clock(slot: int, units: str) -> str:
    minutes = SLOT_MIN * slot % (24 * 60)
    return clock_words(dt.time(minutes // 60, minutes % 60), units)
