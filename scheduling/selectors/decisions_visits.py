"""Decisions about the first month: visits that the plan sets on other days than the water asks for."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Final

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from jobs.models import Job, JobState
from scheduling.models import Stage, Stint, StintState
from scheduling.selectors.decision_facts import DecisionFacts
from scheduling.selectors.decisions import Decision, ask_plan, link, no_other, when_words
from scheduling.selectors.problem import VISIT_MAY_SLIP
from scheduling.words import day_words

FEWER_DAYS_LOST: Final = 0.5  # what a visit on the wrong day costs, in days


def visits_on_wrong_days(facts: DecisionFacts) -> Iterable[Decision]:
    """Pools that were full on another day than planned: visits further from their day than a visit may slip."""
    for job in facts.jobs:
        if job.state != JobState.FIRST_MONTH or job.filled_on is None:
            continue
        off = [stint for stint in facts.alive(job) if _is_off(facts, job, job.filled_on, stint)]
        if not off:
            continue
        first = off[0]
        wanted = _wanted(job.filled_on, first)
        yield Decision(
            kind="visits",
            risk=ngettext(
                "%(count)s visit of the first month at %(site)s is set for another day than its own.",
                "%(count)s visits of the first month at %(site)s are set for other days than their own.",
                len(off),
            )
            % {"count": len(off), "site": job.site.label},
            why=_("The pool was full on %(day)s, not as planned.") % {"day": day_words(job.filled_on)},
            measure=_("Day %(number)s is %(day)s; %(crew)s is set for %(when)s.")
            % {
                "number": _number(first),
                "day": day_words(wanted),
                "crew": first.crew.name,
                "when": when_words(first.starts.astimezone(job.site.tz), facts.units),
            },
            ways=(
                ask_plan(job.site.branch, _("visits of the first month"), _("sets them for their days")),
                link(
                    _("Start-up log"), _("what the water was like; %(rest)s") % {"rest": no_other()}, "start-up", job.pk
                ),
            ),
            lost_days=FEWER_DAYS_LOST * len(off),
            left_days=max(0.0, (min(wanted, _day(job, first)) - facts.today(job)).days),
            weight=job.weight,
            job=job,
        )


def _is_off(facts: DecisionFacts, job: Job, filled_on: dt.date, stint: Stint) -> bool:
    if stint.stage != Stage.START_UP or stint.state != StintState.ISSUED or stint.starts <= facts.now:
        return False
    slip = next((days for until, days in VISIT_MAY_SLIP if _number(stint) <= until), 0)
    return abs((_day(job, stint) - _wanted(filled_on, stint)).days) > slip


def _number(stint: Stint) -> int:
    """Day after the fill that the visit belongs to."""
    return int(stint.key.rpartition("_")[2])


def _wanted(filled_on: dt.date, stint: Stint) -> dt.date:
    return filled_on + dt.timedelta(days=_number(stint))


def _day(job: Job, stint: Stint) -> dt.date:
    return stint.starts.astimezone(job.site.tz).date()


VISIT_KINDS: Final = (visits_on_wrong_days,)
