"""Decisions about crews: issued stints on days or at hours at which their crew does not work."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from typing import Final
from uuid import UUID

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from scheduling.models import Absence, Crew, PlanState, Stint, StintState
from scheduling.selectors.decision_facts import DecisionFacts
from scheduling.selectors.decisions import Decision, ask_plan, link, when_words


def stints_nobody_works(facts: DecisionFacts) -> Iterable[Decision]:
    """One line a crew, unless a proposal made from the plan in force waits to be looked at."""
    issued = {plan.branch: plan.version for plan in facts.plans if plan.state == PlanState.ISSUED}
    answered = {
        plan.branch
        for plan in facts.plans
        if plan.state == PlanState.PROPOSED and plan.base_version == issued.get(plan.branch, 0)
    }
    for stints in _hit(facts).values():
        first = min(stints, key=lambda stint: stint.starts)
        crew, off = first.crew, _absence(facts, first)
        if crew.branch in answered:
            continue
        yield Decision(
            kind="crew_off",
            risk=ngettext(
                "%(crew)s is not there for %(count)s issued stint.",
                "%(crew)s is not there for %(count)s issued stints.",
                len(stints),
            )
            % {"crew": crew.name, "count": len(stints)},
            why=_why(off, crew),
            measure=_("First: %(stage)s at %(site)s, %(when)s.")
            % {
                "stage": first.get_stage_display(),
                "site": first.job.site.label,
                "when": when_words(first.starts.astimezone(first.job.site.tz), facts.units),
            },
            ways=(
                ask_plan(
                    crew.branch,
                    (_("%(crew)s is absent") if off else _("hours of %(crew)s")) % {"crew": crew.name},
                    _("finds others for them; what else would move is shown before anything does"),
                ),
                link(_("See the crew"), _("its hours, its absences, whom it lets wait"), "crew", crew.pk),
            ),
            lost_days=float(len({stint.job_id for stint in stints})),
            left_days=max(0.0, facts.days_until(first.starts)),
            weight=max(stint.job.weight for stint in stints),
            until=first.starts,
        )


def _hit(facts: DecisionFacts) -> dict[UUID, list[Stint]]:
    """Issued stints ahead, by crew, that their crew cannot work."""
    hours = _hours(facts)
    found: dict[UUID, list[Stint]] = defaultdict(list)
    for stints in facts.stints.values():
        for stint in stints:
            if stint.state != StintState.ISSUED or stint.starts <= facts.now:
                continue
            if _absence(facts, stint) or not _in_hours(facts, stint, hours):
                found[stint.crew_id].append(stint)
    return found


def _hours(facts: DecisionFacts) -> dict[tuple[UUID, int], list[tuple[int, int]]]:
    """Minutes of the local day in which each crew that works for the firm is there, by weekday."""
    active = {crew.pk for crew in facts.crews}
    found: dict[tuple[UUID, int], list[tuple[int, int]]] = defaultdict(list)
    for shift in facts.shifts:
        if shift.crew_id in active:
            found[shift.crew_id, shift.weekday].append((shift.from_min, shift.to_min))
    return found


def _in_hours(facts: DecisionFacts, stint: Stint, hours: dict[tuple[UUID, int], list[tuple[int, int]]]) -> bool:
    """Whether the crew is there when the stint begins, and when it ends; nights between are its own affair."""
    ends = stint.ends - dt.timedelta(minutes=1)
    return all(
        any(begin <= 60 * at.hour + at.minute < end for begin, end in hours[stint.crew_id, at.weekday()])
        for at in (moment.astimezone(facts.contractor.tz) for moment in (stint.starts, ends))
    )


def _absence(facts: DecisionFacts, stint: Stint) -> Absence | None:
    first, last = (moment.astimezone(facts.contractor.tz).date() for moment in (stint.starts, stint.ends))
    return next(
        (
            each
            for each in facts.absences
            if each.crew_id == stint.crew_id and each.first_day <= last and first <= each.last_day
        ),
        None,
    )


def _why(off: Absence | None, crew: Crew) -> str:
    if off is None:
        return _("It does not work for the firm any more.") if not crew.active else _("It is outside its shifts now.")
    days = {"first": date_format(off.first_day, "D j M"), "last": date_format(off.last_day, "D j M")}
    words = _("Absent %(first)s to %(last)s") % days if off.first_day < off.last_day else _("Absent %(first)s") % days
    return f"{words} ({off.reason})." if off.reason else f"{words}."


CREW_KINDS: Final = (stints_nobody_works,)
