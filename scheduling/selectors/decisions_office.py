"""Decisions of the desk: promises in doubt, fills nobody can end, scopes and dates that wait, plans, old weather."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from typing import Any, Final

from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from jobs.models import Job, JobState
from jobs.people_units import chance
from scheduling.models import PlanState
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
from scheduling.selectors.decisions_notices import mails_failed
from scheduling.selectors.job_dates import CAUSE_WORDS, STAGE_WORDS
from scheduling.words import day_words

SURE: Final = 0.9
LATER_DAYS: Final = 45.0  # how far beyond today "later" is counted
LATER_SHARE: Final = 0.10
OLD_H: Final = 12.0
PLAIN: Final = ("work", "cure", "none")  # the normal course of the work, no risk
DATED: Final = (JobState.DATE_PROMISED, JobState.UNDER_WAY)
PLANNABLE: Final = (JobState.SCOPE_AGREED, *DATED)


def promises_in_doubt(facts: DecisionFacts) -> Iterable[Decision]:
    """Promised dates that hold with less than nine chances in ten."""
    for job in facts.jobs:
        band = facts.band(job)
        if job.state not in DATED or job.promised_date is None or not band:
            continue
        holds = facts.share_by(job, job.promised_date)
        if holds >= SURE:
            continue
        sure = _date(band.get("p90"))
        yield Decision(
            kind="promise",
            risk=_("%(day)s is promised for %(site)s and holds with a chance of %(chance)s.")
            % {"day": day_words(job.promised_date), "site": job.site.label, "chance": chance(holds)},
            why=_holds_back(band),
            measure=_sure_words(job.promised_date, sure),
            ways=tuple(_promise_ways(facts, job, sure)),
            lost_days=_days_late(facts, job),
            left_days=max(0.5, (job.promised_date - facts.today(job)).days / 4),
            weight=job.weight,
            job=job,
        )


def _promise_ways(facts: DecisionFacts, job: Job, sure: dt.date | None) -> Iterable[Way]:
    yield ask_plan(job.site.branch, _("promise at %(site)s") % {"site": job.site.label}, promise_effect(job))
    if sure is not None:
        label = _("Promise %(day)s instead") % {"day": date_format(sure, "D j M")}
        effect = _("holds with 9 chances in 10; %(rest)s") % {"rest": no_other()}
        yield link(label, effect, "date-for", job.pk, query=f"?day={sure.isoformat()}")
    else:
        yield link(_("See what date holds"), no_other(), "date-for", job.pk)


def _sure_words(promised: dt.date, sure: dt.date | None) -> str:
    if sure is None:
        return _("9 in 10 lies beyond what can be computed.")
    return _("9 in 10 by %(day)s, %(days)s after it.") % {
        "day": day_words(sure),
        "days": days_words((sure - promised).days),
    }


def _holds_back(band: Any) -> str:
    """The two causes that take most days, apart from work and cure themselves."""
    causes = [row for row in band.get("lost_days") or () if row[1] in CAUSE_WORDS and row[1] not in PLAIN][:2]
    if not causes:
        return _("Work and cure themselves take the time.")
    words = ", ".join(
        _("%(stage)s: %(cause)s (%(days)s days on average)")
        % {"stage": STAGE_WORDS.get(stage, stage), "cause": CAUSE_WORDS[cause], "days": f"{days:.1f}"}
        for stage, cause, days in causes
    )
    return _("What holds it back: %(words)s.") % {"words": words}


def _days_late(facts: DecisionFacts, job: Job) -> float:
    """Mean days after the promise, over the scenarios."""
    promised = job.promised_date
    assert promised is not None
    before, mean = 0.0, 0.0
    for text, share in facts.band(job).get("chance_by") or ():
        late = (dt.date.fromisoformat(text) - promised).days
        mean += (share - before) * max(0, late)
        before = share
    beyond = LATER_DAYS - (promised - facts.today(job)).days
    return float(mean + facts.band(job).get("later", 0.0) * max(0.0, beyond))


def fills_without_crew(facts: DecisionFacts) -> Iterable[Decision]:
    """Fills that end when no crew can be there, by a share of the scenarios."""
    for job in facts.jobs:
        band = facts.band(job)
        lost = sum(row[2] for row in band.get("lost_days") or () if row[1] == "fill_crew")
        if job.state not in PLANNABLE or lost <= 0 or band.get("later", 0.0) < LATER_SHARE:
            continue
        yield Decision(
            kind="fill_crew",
            risk=_("Nobody can be there when the fill at %(site)s ends.") % {"site": job.site.label},
            why=_fill_words(facts, job),
            measure=_("%(share)s of the scenarios find no fill day within the weeks computed.")
            % {"share": chance(band["later"])},
            ways=(
                link(_("Other hoses or flow"), _("another length of fill; other dates stay"), "job-change", job.pk),
                Way(_("An evening watch"), _("lets a crew stay later; other dates stay"), reverse("firm") + "#crews"),
            ),
            lost_days=LATER_DAYS * band["later"],
            left_days=7.0,
            weight=job.weight,
            job=job,
        )


def _fill_words(facts: DecisionFacts, job: Job) -> str:
    hours = (facts.expected.get(job.pk) or {}).get("rows__fill_hours")
    if not hours:
        return ""
    return _("It takes %(early)s to %(late)s hours, which ends outside every shift of the water crews.") % {
        "early": round(hours["early"]),
        "late": round(hours["late"]),
    }


def scopes_to_agree(facts: DecisionFacts) -> Iterable[Decision]:
    for job in facts.jobs:
        if job.state != JobState.SURVEYED:
            continue
        surveyed_at: dt.datetime = getattr(job, "surveyed_at", None) or job.created_at
        waited = max(0, (facts.now - surveyed_at).days)
        yield Decision(
            kind="scope",
            risk=_("%(site)s has no agreed scope, so it can have no dates.") % {"site": job.site.label},
            why=_("The pool owner waits.")
            + ("" if getattr(job, "has_photo", True) else " " + _("No photo of the pool is kept yet.")),
            measure=_("Surveyed %(day)s, %(days)s ago.")
            % {"day": day_words(surveyed_at.astimezone(job.site.tz).date()), "days": days_words(waited)},
            ways=(
                link(_("Agree the scope"), _("gives it dates; %(rest)s") % {"rest": no_other()}, "scope-agree", job.pk),
                link(_("See the survey"), _("the next question may settle it"), "survey", job.pk),
            ),
            lost_days=1.0,
            left_days=max(1.0, 5.0 - waited),
            weight=job.weight,
            job=job,
        )


def dates_to_promise(facts: DecisionFacts) -> Iterable[Decision]:
    for job in facts.jobs:
        sure = _date(facts.band(job).get("p90"))
        if job.state != JobState.SCOPE_AGREED or sure is None:
            continue
        even = _date(facts.band(job).get("p50"))
        yield Decision(
            kind="date",
            risk=_("%(site)s has no promised date.") % {"site": job.site.label},
            why=_("The scope is agreed; the planner gives room to promises first."),
            measure=_("Even chance by %(even)s, 9 in 10 by %(sure)s.")
            % {"even": day_words(even) if even else _("later"), "sure": day_words(sure)},
            ways=(
                link(
                    _("Promise %(day)s") % {"day": date_format(sure, "D j M")},
                    _("holds with 9 chances in 10; %(rest)s") % {"rest": no_other()},
                    "date-for",
                    job.pk,
                    query=f"?day={sure.isoformat()}",
                ),
            ),
            lost_days=0.5,
            left_days=3.0,
            weight=job.weight,
            job=job,
        )


def plans_waiting(facts: DecisionFacts) -> Iterable[Decision]:
    issued = {plan.branch: plan.version for plan in facts.plans if plan.state == PlanState.ISSUED}
    for plan in facts.plans:
        if plan.state != PlanState.PROPOSED:
            continue
        outdated = issued.get(plan.branch, 0) != plan.base_version
        see = link(_("See what would change"), _("issue it there, or not"), "changes")
        none = Way(
            _("None of it"), _("everything stays as issued"), reverse("plan-set-aside", args=[plan.pk]), {}, True
        )
        again = ask_plan(plan.branch, _("the last proposal is outdated"), _("made from the plan in force"))
        yield Decision(
            kind="proposal",
            risk=_("A proposed plan for %(branch)s is outdated.") % {"branch": plan.branch}
            if outdated
            else _("A proposed plan for %(branch)s waits for you.") % {"branch": plan.branch},
            why=(_("Asked for: %(why)s.") % {"why": plan.why} + " " if plan.why else "")
            + _("Calendars and crews still follow the issued plan."),
            measure=_("Made %(at)s.")
            % {"at": when_words(plan.created_at.astimezone(facts.contractor.tz), facts.units)},
            ways=(again, none) if outdated else (see, none),
            lost_days=0.5,
            left_days=1.0,
        )


def jobs_without_plan(facts: DecisionFacts) -> Iterable[Decision]:
    """Jobs with dates that stand in no plan, one line a branch."""
    waiting: dict[str, list[Job]] = defaultdict(list)
    for job in facts.jobs:
        if job.state in PLANNABLE and job.pk in facts.expected and not facts.alive(job):
            waiting[job.site.branch].append(job)
    proposed = {plan.branch for plan in facts.plans if plan.state == PlanState.PROPOSED}
    for branch, jobs in waiting.items():
        if branch in proposed:
            continue
        sites = ", ".join(job.site.label for job in jobs[:4]) + (" ..." if len(jobs) > 4 else "")
        yield Decision(
            kind="no_plan",
            risk=ngettext(
                "%(count)s job in %(branch)s stands in no plan.",
                "%(count)s jobs in %(branch)s stand in no plan.",
                len(jobs),
            )
            % {"count": len(jobs), "branch": branch},
            why=sites,
            measure=_("They have dates only once crews are set for them."),
            ways=_run_or_ask(facts, branch),
            lost_days=1.0 * len(jobs),
            left_days=2.0,
        )


def _run_or_ask(facts: DecisionFacts, branch: str) -> tuple[Way, ...]:
    run = facts.runs.get(branch)
    if run is not None:
        return (link(_("See the search"), _("it is running"), "plan-run", run.pk),)
    return (ask_plan(branch, _("jobs without a plan"), _("promised dates come first; nothing moves before you agree")),)


def old_weather(facts: DecisionFacts) -> Iterable[Decision]:
    """Branches whose expected dates rest on a forecast of more than twelve hours ago."""
    newest: dict[str, dt.datetime] = {}
    for job in facts.jobs:
        row = facts.expected.get(job.pk)
        if row is not None and job.state in PLANNABLE:
            newest[job.site.branch] = max(
                row["weather_issued_at"], newest.get(job.site.branch, row["weather_issued_at"])
            )
    for branch, issued_at in sorted(newest.items()):
        age = (facts.now - issued_at) / dt.timedelta(hours=1)
        if age <= OLD_H:
            continue
        yield Decision(
            kind="weather",
            risk=_("The weather of %(branch)s is %(hours)s hours old.") % {"branch": branch, "hours": round(age)},
            why=_("Verdicts, fill bands and proposals rest on it."),
            measure=_("Issued %(at)s; a newer one is due every 6 hours.")
            % {"at": when_words(issued_at.astimezone(facts.contractor.tz), facts.units)},
            ways=(Way(_("Fetch it again"), _("dates may move; stints do not"), reverse("weather-again"), {}, True),),
            lost_days=0.5,
            left_days=1.0,
        )


def _date(text: str | None) -> dt.date | None:
    return dt.date.fromisoformat(text) if text else None


OFFICE_KINDS: Final = (
    promises_in_doubt,
    fills_without_crew,
    plans_waiting,
    jobs_without_plan,
    scopes_to_agree,
    dates_to_promise,
    old_weather,
    mails_failed,
)
