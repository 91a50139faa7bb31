"""Decisions about work on site: work not logged, held drains, coats and plaster days."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from typing import Any, Final

from django.urls import reverse
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from jobs.models import Job
from jobs.people_units import chance
from jobs.reason_words import verdict_word, why_words
from jobs.spoken import spoken
from scheduling.models import Stage, Stint, StintState
from scheduling.selectors.decision_facts import DecisionFacts
from scheduling.selectors.decisions import (
    Decision,
    Way,
    ask_plan,
    days_words,
    link,
    no_other,
    promise_effect,
    when_words,
)
from scheduling.selectors.decisions_owner import asks_to_be_rung
from scheduling.selectors.problem import RECOAT_DAYS
from scheduling.words import day_words

HELD_DAYS: Final = 7  # a groundwater record is good for a week, so nobody needs it sooner
PLASTER_DAYS: Final = 3
LOST_PLASTER_DAYS: Final = 3.0  # what a lost plaster day usually costs until the next that fits
EVENING_BEFORE: Final = dt.timedelta(hours=14)  # the crew is told in the evening
RECOAT_WARN: Final = dt.timedelta(hours=36)


def not_logged(facts: DecisionFacts) -> Iterable[Decision]:
    """Issued stints whose time is over, one line a job."""
    for job in facts.jobs:
        past = [
            stint
            for stint in facts.alive(job)
            if stint.state in (StintState.ISSUED, StintState.BEGUN) and stint.ends < facts.now
        ]
        if not past:
            continue
        first = past[0]
        more = _(" and %(count)s more after it") % {"count": len(past) - 1} if len(past) > 1 else ""
        yield Decision(
            kind="not_logged",
            risk=_("%(stage)s at %(site)s is over by the plan and not logged%(more)s.")
            % {"stage": capfirst(first.get_stage_display()), "site": job.site.label, "more": more},
            why=_("Every later stage and the fill day rest on whether it happened."),
            measure=_("Planned until %(when)s, %(crew)s.")
            % {"when": when_words(first.ends.astimezone(job.site.tz), facts.units), "crew": first.crew.name},
            ways=(
                Way(
                    _("Done as planned"),
                    no_other(),
                    reverse("stint-mark", args=[first.pk]),
                    {
                        "state": "done",
                        "at": first.ends.astimezone(facts.contractor.tz).strftime("%Y-%m-%dT%H:%M"),
                        "back": "home",
                    },
                    True,
                ),
                link(_("It went differently"), _("later stages may move"), "stint", first.pk),
            ),
            lost_days=1.0,
            left_days=0.5,
            weight=job.weight,
            job=job,
            who=_("office; ask %(crew)s") % {"crew": first.crew.name},
        )


def held_drains(facts: DecisionFacts) -> Iterable[Decision]:
    """Drains of the coming week that wait for a groundwater record."""
    for job in facts.jobs:
        stint = facts.stint(job, Stage.DRAIN_SETUP)
        if stint is None or stint.state != StintState.PROPOSED or facts.days_until(stint.starts) > HELD_DAYS:
            continue
        left = facts.days_until(stint.starts)
        clearance = facts.clearances[job.pk]
        known = _(" Groundwater is known or suspected to be high there.") if job.site.high_groundwater else ""
        yield Decision(
            kind="held_drain",
            risk=_("The drain at %(site)s is held.") % {"site": job.site.label},
            why=spoken(clearance.sentence) + known,
            measure=_("Set for %(when)s; each day without the record is a day later.")
            % {"when": when_words(stint.starts.astimezone(job.site.tz), facts.units)},
            ways=(
                link(
                    _("Record the groundwater"),
                    _("issues the drain; %(rest)s") % {"rest": no_other()},
                    "job",
                    job.pk,
                    query="#groundwater",
                ),
                ask_plan(job.site.branch, _("drain held at %(site)s") % {"site": job.site.label}, promise_effect(job)),
            ),
            lost_days=1.0,
            left_days=left,
            weight=job.weight,
            job=job,
            who=_("office; measured on site, or a licensed opinion"),
            until=stint.starts,
        )


def old_bond_coats(facts: DecisionFacts) -> Iterable[Decision]:
    """A bond coat is on, and the plaster may come after it is too old."""
    for job in facts.jobs:
        bond = _last_done(facts, job, Stage.BOND_AGAIN) or _last_done(facts, job, Stage.BOND)
        if bond is None or _last_done(facts, job, Stage.PLASTER):
            continue
        again = facts.stint(job, Stage.BOND_AGAIN)
        if again is not None and again.state != StintState.DONE:
            continue
        plaster = facts.stint(job, Stage.PLASTER)
        until = (bond.done_at or bond.ends) + dt.timedelta(days=RECOAT_DAYS)
        left = until - facts.now
        late = plaster is None or plaster.starts > until
        if not late and (left > RECOAT_WARN or not _doubt(facts, job, plaster)):
            continue
        yield Decision(
            kind="old_bond_coat",
            risk=_("The bond coat at %(site)s may grow too old for plaster.") % {"site": job.site.label},
            why=_("No plaster day is set before that.") if late else _("Its plaster day is in doubt."),
            measure=_("Good until %(when)s; after that it needs a second coat, which is 1 to 3 days.")
            % {"when": when_words(until.astimezone(job.site.tz), facts.units)},
            ways=(
                ask_plan(job.site.branch, _("bond coat at %(site)s") % {"site": job.site.label}, promise_effect(job)),
                link(_("See the plaster day"), _("shows the days around it"), "stint", plaster.pk)
                if plaster
                else link(_("See the job"), _("shows its dates"), "job", job.pk),
            ),
            lost_days=2.0,
            left_days=max(0.0, left / dt.timedelta(days=1)),
            weight=job.weight,
            job=job,
            until=until,
        )


def _last_done(facts: DecisionFacts, job: Job, key: str) -> Stint | None:
    stint = facts.stint(job, key)
    return stint if stint is not None and stint.state == StintState.DONE else None


def doubtful_plaster_days(facts: DecisionFacts) -> Iterable[Decision]:
    """Plaster days of the next three days on which the weather may not allow it."""
    for job in facts.jobs:
        stint = facts.stint(job, Stage.PLASTER)
        verdict = _doubt(facts, job, stint)
        if stint is None or verdict is None:
            continue
        day = stint.starts.astimezone(job.site.tz).date()
        following = _next_good(facts, job, day)
        yield Decision(
            kind="plaster_day",
            risk=_("The plaster day at %(site)s, %(day)s: %(word)s.")
            % {"site": job.site.label, "day": day_words(day), "word": verdict_word(verdict["word"])},
            why=capfirst(why_words(verdict, facts.units)) + ".",
            measure=_("%(share)s of the forecasts allow it.") % {"share": chance(verdict["share"])} + following,
            ways=(
                ask_plan(job.site.branch, _("plaster day in doubt"), promise_effect(job)),
                link(_("See the days around it"), _("shows what holds each back"), "stint", stint.pk),
            ),
            lost_days=(1.0 - verdict["share"]) * LOST_PLASTER_DAYS,
            left_days=facts.days_until(stint.starts),
            weight=job.weight,
            job=job,
            until=stint.starts - EVENING_BEFORE,
        )


def _doubt(facts: DecisionFacts, job: Job, stint: Stint | None) -> Mapping[str, Any] | None:
    """The verdict of a coming plaster day, if it is not plain that it can be done."""
    if stint is None or stint.state not in (StintState.ISSUED, StintState.BEGUN) or stint.starts < facts.now:
        return None
    day = stint.starts.astimezone(job.site.tz).date()
    if (day - facts.today(job)).days > PLASTER_DAYS:
        return None
    verdicts = (facts.expected.get(job.pk) or {}).get("verdicts") or ()
    found = next((row for row in verdicts if row["day"] == day.isoformat()), None)
    return found if found is not None and found["word"] != "can plaster" else None


def _next_good(facts: DecisionFacts, job: Job, day: dt.date) -> str:
    verdicts = (facts.expected.get(job.pk) or {}).get("verdicts") or ()
    later = [dt.date.fromisoformat(row["day"]) for row in verdicts if row["word"] == "can plaster"]
    good = next((one for one in later if one > day), None)
    if good is None:
        return " " + _("No later day of the forecast is clear.")
    return " " + _("The next clear day is %(day)s, %(days)s later.") % {
        "day": day_words(good),
        "days": days_words((good - day).days),
    }


SITE_KINDS: Final = (not_logged, held_drains, old_bond_coats, doubtful_plaster_days, asks_to_be_rung)
