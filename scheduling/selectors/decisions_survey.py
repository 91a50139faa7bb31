"""Decisions that the empty pool asks for: sound it, and agree again what the sounding changed."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from django.urls import reverse
from django.utils.translation import gettext as _

from jobs.models import Job
from jobs.people_units import chance
from jobs.selectors.scope_page import KIND_NAMES
from jobs.selectors.survey_state import SurveyState
from scheduling.models import Stage, Stint, StintState
from scheduling.selectors.decision_facts import DecisionFacts
from scheduling.selectors.decisions import Decision, Way, link, no_other, promise_effect, when_words

STRIP_DAYS: Final = 2.5  # what a strip usually takes longer than cutting and tapering, with a crew of four
SAME_DAYS: Final = 0.5


def shells_to_sound(facts: DecisionFacts) -> Iterable[Decision]:
    """Empty pools whose scope is provisional: the hollow area can only be sounded dry."""
    for job in facts.jobs:
        state, prep = facts.surveys.get(job.pk), facts.stint(job, Stage.PREP)
        if not job.fill_ahead or state is None or state.scope is None:
            continue
        if not state.scope.provisional or state.sounded_dry or not _is_empty(facts, job) or _is_over(prep):
            continue
        yield Decision(
            kind="sound_dry",
            risk=_("The shell at %(site)s is empty and was not sounded.") % {"site": job.site.label},
            why=_("Its scope is provisional until the whole surface was tapped dry."),
            measure=_("Chip and prep is set for %(when)s; found later, more hollow area stops the crew.")
            % {"when": when_words(prep.starts.astimezone(job.site.tz), facts.units)}
            if prep
            else _("Found later, more hollow area stops the crew."),
            ways=(
                Way(_("Begin the dry survey"), no_other(), reverse("survey-dry", args=[job.pk]), {}, True),
                link(_("See the scope"), _("with its other outcomes"), "scope-agree", job.pk),
            ),
            lost_days=1.0,
            left_days=facts.days_until(prep.starts) if prep else 1.0,
            weight=job.weight,
            job=job,
            who=_("office; whoever is on site taps and tells"),
        )


def scopes_to_agree_again(facts: DecisionFacts) -> Iterable[Decision]:
    """The survey went on after the scope was agreed, and now asks for another one, or settles it."""
    for job in facts.jobs:
        state = facts.surveys.get(job.pk)
        if not job.fill_ahead or state is None or state.scope is None or state.proposed is None:
            continue
        settles = state.sounded_dry and state.scope.provisional
        if not (state.differs or settles):
            continue
        prep = facts.stint(job, Stage.PREP)
        yield Decision(
            kind="scope_again",
            risk=_risk(job, state),
            why=_why(state),
            measure=_("Expected dates, the promise and the plan follow from the scope that is agreed."),
            ways=(
                link(_("Agree the new scope"), promise_effect(job), "scope-agree", job.pk)
                if state.differs
                else link(_("Agree it for good"), no_other(), "scope-agree", job.pk),
                link(_("See the survey"), _("what was found, and how sure"), "survey", job.pk),
            ),
            lost_days=STRIP_DAYS if state.differs else SAME_DAYS,
            left_days=max(0.1, facts.days_until(prep.starts)) if prep and not _is_over(prep) else 1.0,
            weight=job.weight,
            job=job,
        )


def _risk(job: Job, state: SurveyState) -> str:
    assert state.scope is not None
    assert state.proposed is not None
    if not state.differs:
        return _("The scope at %(site)s holds: the shell was sounded dry.") % {"site": job.site.label}
    agreed, found = (KIND_NAMES.get(kind, kind) for kind in (state.scope.kind, state.proposed.kind))
    if agreed == found:
        return _("%(site)s: %(now)s of the surface comes off, not %(before)s.") % {
            "site": job.site.label,
            "now": chance(state.strip_share),
            "before": chance(state.scope.strip_share),
        }
    return _("%(site)s: agreed is “%(agreed)s”, the survey now asks for “%(found)s”.") % {
        "site": job.site.label,
        "agreed": agreed,
        "found": found,
    }


def _why(state: SurveyState) -> str:
    if state.hollow_pct is not None and state.sounded_dry:
        return _("Sounded dry, %(hollow)s %% of the area is hollow.") % {"hollow": f"{state.hollow_pct:g}"}
    return _("The survey went on after the scope was agreed.")


def _is_empty(facts: DecisionFacts, job: Job) -> bool:
    pull = facts.stint(job, Stage.DRAIN_PULL)
    return pull is not None and pull.state == StintState.DONE


def _is_over(prep: Stint | None) -> bool:
    return prep is not None and prep.state == StintState.DONE


SURVEY_KINDS: Final = (shells_to_sound, scopes_to_agree_again)
