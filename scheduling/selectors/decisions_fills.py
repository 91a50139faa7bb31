"""Decisions about water that runs: nobody for its end, a crew that comes too late, a level or a flow to look at."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from jobs.models import Job, JobState
from jobs.people_units import chance
from scheduling.models import Stint, StintState
from scheduling.selectors.decision_facts import DecisionFacts
from scheduling.selectors.decisions import Decision, ask_plan, link, no_other, when_words
from scheduling.selectors.fill_watch import FillSheet
from scheduling.words import clock_words

AT_ONCE: Final = 0.05  # days
FLOODS_DAYS: Final = 4.0  # what a pool that runs over costs, in days
LINE_DAYS: Final = 3.0  # what a line in fresh plaster costs, in days
LOOK_DAYS: Final = 1.0
SOON: Final = 0.1  # days


def fills_alone(facts: DecisionFacts) -> Iterable[Decision]:
    """Water runs and nobody is set for the end of it."""
    for job, sheet in _running(facts):
        end = sheet.end_stint
        if end is not None and _looks_after(facts, end):
            continue
        begun = sheet.started if sheet.started_known else None
        yield Decision(
            kind="fill_alone",
            risk=_("%(site)s is filling and nobody is set for the end of it.") % {"site": job.site.label},
            why=_("Water runs since %(when)s; a pool that runs over floods the garden and the equipment.")
            % {"when": when_words(begun, facts.units)}
            if begun
            else _("The start of the fill was not logged."),
            measure=_full_words(sheet, facts.units),
            ways=(
                ask_plan(job.site.branch, _("nobody for the end of a fill"), _("sets a water crew for it")),
                link(_("Fill watch"), _("a level reading says when it is full"), "fill-watch", job.pk),
            ),
            lost_days=FLOODS_DAYS,
            left_days=_left(facts, sheet),
            weight=job.weight,
            job=job,
            who=_("office, by telephone"),
        )


@dataclass(frozen=True)
class Trouble:
    """What is wrong with a fill that has a crew for its end; *new_crew* where a new plan could help."""

    kind: str
    risk: str
    why: str
    lost_days: float
    left_days: float
    new_crew: bool = False


def fills_off_course(facts: DecisionFacts) -> Iterable[Decision]:
    """Fills with a crew set for the end that somebody has to look at all the same, one line a job, the worst."""
    for job, sheet in _running(facts):
        end = sheet.end_stint
        if end is None or not _looks_after(facts, end):
            continue
        found = next((trouble for look in LOOKS if (trouble := look(facts, sheet, end))), None)
        if found is None:
            continue
        seen = _("what was read, when it is full; %(rest)s") % {"rest": no_other()}
        watch = link(_("Fill watch"), seen, "fill-watch", job.pk)
        why = _("a crew for the end of a fill")
        again = ask_plan(job.site.branch, why, _("sets a water crew for its earliest end"))
        yield Decision(
            kind=found.kind,
            risk=found.risk,
            why=found.why,
            measure=_full_words(sheet, facts.units),
            ways=(again, watch) if found.new_crew else (watch,),
            lost_days=found.lost_days,
            left_days=found.left_days,
            weight=job.weight,
            job=job,
            who=_("office, by telephone: %(crew)s") % {"crew": end.crew.name},
        )


def _stands(facts: DecisionFacts, sheet: FillSheet, end: Stint) -> Trouble | None:
    if sheet.stopped_at is None:
        return None
    risk = _("The water at %(site)s stands since %(when)s.")
    at = when_words(sheet.stopped_at, facts.units)
    why = _("A pause leaves a line in fresh plaster: start it again at once.")
    return Trouble("fill_stands", risk % {"site": sheet.job.site.label, "when": at}, why, LINE_DAYS, AT_ONCE)


def _maybe_full(facts: DecisionFacts, sheet: FillSheet, end: Stint) -> Trouble | None:
    if not sheet.look_now or _there(facts, end):
        return None
    risk = _("The pool at %(site)s may be full by now.") % {"site": sheet.job.site.label}
    why = _("One chance in ten that it is, and nobody is set to be there before %(when)s.")
    return Trouble("fill_look", risk, why % {"when": _comes(facts, sheet, end)}, FLOODS_DAYS, AT_ONCE)


def _crew_late(facts: DecisionFacts, sheet: FillSheet, end: Stint) -> Trouble | None:
    if not sheet.too_late or sheet.somebody_from is None or _there(facts, end):
        return None
    risk = _("The fill at %(site)s may end before its crew comes.") % {"site": sheet.job.site.label}
    why = _("By what was read somebody must be there from %(early)s; %(crew)s comes %(when)s.") % {
        "early": when_words(sheet.somebody_from, facts.units),
        "crew": end.crew.name,
        "when": _comes(facts, sheet, end),
    }
    return Trouble("fill_late_crew", risk, why, FLOODS_DAYS, _left(facts, sheet), new_crew=True)


def _doubted(facts: DecisionFacts, sheet: FillSheet, end: Stint) -> Trouble | None:
    if sheet.doubted is None:
        return None
    risk = _("The level read at %(site)s does not fit the flow.") % {"site": sheet.job.site.label}
    why = _("%(share)s in at %(at)s is far more than the hose gives; it counts once a second reading bears it out.")
    said = {"share": chance(sheet.doubted.share), "at": clock_words(sheet.doubted.at, facts.units)}
    return Trouble("fill_doubted", risk, why % said, FLOODS_DAYS, SOON)


def _unread(facts: DecisionFacts, sheet: FillSheet, end: Stint) -> Trouble | None:
    if sheet.quiet_since is None:
        return None
    risk = _("Nobody read the level at %(site)s since %(when)s.")
    said = {"site": sheet.job.site.label, "when": when_words(sheet.quiet_since, facts.units)}
    return Trouble("fill_unread", risk % said, _("A hose that stopped shows only in the level."), LOOK_DAYS, SOON)


def _slower(facts: DecisionFacts, sheet: FillSheet, end: Stint) -> Trouble | None:
    if not sheet.slower:
        return None
    risk = _("The water at %(site)s comes %(percent)s %% slower than before.")
    said = {"site": sheet.job.site.label, "percent": sheet.lost_percent}
    why = _("A kink, a closed tap, or another one open; it must not stop.")
    return Trouble("fill_slower", risk % said, why, LOOK_DAYS, SOON)


LOOKS: Final = (_stands, _maybe_full, _crew_late, _doubted, _unread, _slower)


def _looks_after(facts: DecisionFacts, end: Stint) -> bool:
    """A crew is set for the end, or is there and stays although its time in the plan is over."""
    return end.state == StintState.BEGUN or (end.state != StintState.DONE and end.ends > facts.now)


def _there(facts: DecisionFacts, end: Stint) -> bool:
    return end.state == StintState.BEGUN or end.starts <= facts.now


def _comes(facts: DecisionFacts, sheet: FillSheet, end: Stint) -> str:
    return when_words(end.starts.astimezone(sheet.job.site.tz), facts.units)


def _running(facts: DecisionFacts) -> Iterable[tuple[Job, FillSheet]]:
    return ((job, facts.fills[job.pk]) for job in facts.jobs if job.state == JobState.FILLING)


def _left(facts: DecisionFacts, sheet: FillSheet) -> float:
    """Days until somebody must be there."""
    if sheet.somebody_from is None:
        return AT_ONCE
    return min(1.0, max(AT_ONCE, facts.days_until(sheet.somebody_from)))


def _full_words(sheet: FillSheet, units: str) -> str:
    if sheet.full is None:
        return ""
    early, late = sheet.full.p10, sheet.full.p90
    return _("Full between %(early)s and %(late)s, by what is known of the flow.") % {
        "early": _short(early, units),
        "late": _short(late, units),
    }


def _short(at: dt.datetime, units: str) -> str:
    return f"{date_format(at.date(), 'D')} {clock_words(at, units)}"


FILL_KINDS: Final = (fills_alone, fills_off_course)
