"""Decisions about work that has grown: the scope changed after the plan, and the plan gives its crew too few hours."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from typing import Final

from django.utils.translation import gettext as _

from jobs.models import Job
from scheduling.models import Stage, Stint, StintState
from scheduling.selectors.decision_facts import DecisionFacts
from scheduling.selectors.decisions import Decision, ask_plan, link, promise_effect, when_words
from scheduling.slots import SLOT_MIN
from scheduling.words import span_words

SHORT: Final = 0.9  # of the hours needed; what is missing below that is more than a crew makes up on the day
LEAST_H: Final = 2.0  # missing hours that are worth a line
DAY_H: Final = 8.0  # hours of a crew's day, to say what is lost


def prep_too_short(facts: DecisionFacts) -> Iterable[Decision]:
    """Chip and prep that is still to begin, with fewer hours in the plan than its scope asks for."""
    for job in facts.jobs:
        stint = facts.stint(job, Stage.PREP)
        if stint is None or stint.state != StintState.ISSUED or stint.starts <= facts.now:
            continue
        needed, given = _needed_h(facts, job, stint), _given_h(facts, stint)
        if needed - given < LEAST_H or given >= SHORT * needed:
            continue
        yield Decision(
            kind="prep_short",
            risk=_("Chip and prep at %(site)s takes %(needed)s of its crew; the plan gives it %(given)s.")
            % {"site": job.site.label, "needed": span_words(needed), "given": span_words(given)},
            why=_("Its scope or its rates changed after the plan was issued."),
            measure=_("Set for %(when)s, %(crew)s; what follows would come before it is done.")
            % {"when": when_words(stint.starts.astimezone(job.site.tz), facts.units), "crew": stint.crew.name},
            ways=(
                ask_plan(
                    job.site.branch, _("chip and prep at %(site)s") % {"site": job.site.label}, promise_effect(job)
                ),
                link(_("See the scope"), _("what comes off, and how many hours it takes"), "scope-agree", job.pk),
            ),
            lost_days=(needed - given) / DAY_H,
            left_days=max(0.0, facts.days_until(stint.starts)),
            weight=job.weight,
            job=job,
            until=stint.starts,
        )


def _needed_h(facts: DecisionFacts, job: Job, stint: Stint) -> float:
    """Hours of this crew [h] for the work of the scope that counts; 0 where nothing is computed."""
    lengths = (facts.expected.get(job.pk) or {}).get("rows__lengths") or {}
    slots = int(lengths.get("prep_work", 0))
    return math.ceil(slots / max(1, stint.crew.people)) * SLOT_MIN / 60


def _given_h(facts: DecisionFacts, stint: Stint) -> float:
    """Hours [h] of the crew's shifts between the begin and the end of the stint."""
    zone = facts.contractor.tz
    begin, end = stint.starts.astimezone(zone), stint.ends.astimezone(zone)
    hours = 0.0
    for after in range((end.date() - begin.date()).days + 1):
        midnight = dt.datetime.combine(begin.date() + dt.timedelta(days=after), dt.time(), zone)
        for shift in facts.shifts:
            if shift.crew_id != stint.crew_id or shift.weekday != midnight.weekday():
                continue
            first = max(begin, midnight + dt.timedelta(minutes=shift.from_min))
            last = min(end, midnight + dt.timedelta(minutes=shift.to_min))
            hours += max(0.0, (last - first) / dt.timedelta(hours=1))
    return hours


LENGTH_KINDS: Final = (prep_too_short,)
