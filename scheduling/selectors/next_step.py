"""What a job needs next from the office, and what a new firm does first: always one step, with one place to do it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from django.urls import reverse
from django.utils.translation import gettext as _

from jobs.models import Job, JobState, Survey
from jobs.selectors.survey_state import SurveyState
from scheduling.models import Plan, PlanState, Skill, Stage, Stint, StintState
from scheduling.selectors.decision_facts import DecisionFacts

ENOUGH_ANSWERS: Final = 4  # of a survey, before a scope is worth agreeing; the office may do so earlier


@dataclass(frozen=True)
class Step:
    """One step: why in words, what the button says, where it leads; `fields` to send, where it is a form."""

    words: str
    label: str = ""
    url: str = ""
    fields: dict[str, str] = field(default_factory=dict)
    is_form: bool = False


@dataclass(frozen=True)
class GuideStep:
    """One step of a new firm's way to the first promised date."""

    words: str
    done: bool
    label: str
    url: str


def next_step(
    job: Job, *, answers: int, state: SurveyState, stints: Sequence[Stint], band: Mapping[str, Any] | None
) -> Step | None:
    """The one thing to do next for a job, None where the crews have it in hand."""
    if job.state == JobState.SURVEYED:
        return _of_survey(job, answers)
    if job.state in (JobState.SCOPE_AGREED, JobState.DATE_PROMISED, JobState.UNDER_WAY):
        return _of_empty_pool(job, state, stints) or _of_dates(job, stints, band)
    if job.state == JobState.FILLING:
        return Step(_("The pool is filling."), _("When it will be full"), reverse("fill-watch", args=[job.pk]))
    if job.state == JobState.FIRST_MONTH:
        return Step(_("The water is looked after."), _("Start-up log"), reverse("start-up", args=[job.pk]))
    return None


def _of_survey(job: Job, answers: int) -> Step:
    if answers < ENOUGH_ANSWERS:
        return Step(
            _("Next: look at the pool. A few observations tell what is on the shell."),
            _("Go on with the survey") if answers else _("Begin the survey"),
            reverse("survey", args=[job.pk]),
        )
    return Step(
        _("Next: agree what comes off and what goes on; the dates follow from it."),
        _("Agree the scope"),
        reverse("scope-agree", args=[job.pk]),
    )


def _of_empty_pool(job: Job, state: SurveyState, stints: Sequence[Stint]) -> Step | None:
    """What the sounding of the dry shell asks for."""
    if state.differs:
        return Step(
            _("The survey now asks for another scope than the one agreed."),
            _("Agree the new scope"),
            reverse("scope-agree", args=[job.pk]),
        )
    done = {stint.stage for stint in stints if stint.state == StintState.DONE}
    provisional = state.scope is not None and state.scope.provisional
    if provisional and not state.sounded_dry and Stage.DRAIN_PULL in done and Stage.PREP not in done:
        return Step(
            _("The pool is empty: sound the whole shell dry, the scope is provisional until then."),
            _("Begin the survey of the empty pool"),
            reverse("survey-dry", args=[job.pk]),
            {},
            True,
        )
    return None


def _of_dates(job: Job, stints: Sequence[Stint], band: Mapping[str, Any] | None) -> Step | None:
    if band is None and not stints:
        return Step(_("Its dates are being computed from the weather of the site and the crews."))
    if band is not None and band.get("p50") is None and not stints:
        return _no_day(job, band)
    if job.promised_date is None:
        return Step(_("Next: tell the pool owner a date."), _("Choose the date"), reverse("date-for", args=[job.pk]))
    if not stints:
        return Step(
            _("Next: give it room among the crews."),
            _("Ask for a new plan"),
            reverse("plan-ask"),
            {"branch": job.site.branch, "why": _("job %(number)s has no stints") % {"number": job.number}},
            True,
        )
    return None


def _no_day(job: Job, band: Mapping[str, Any]) -> Step:
    """What keeps a job from any fill day within the weeks computed, and where to change it."""
    causes = [str(row[1]) for row in band.get("lost_days") or ()]
    if "fill_crew" in causes:
        return Step(
            _("No fill day is found: nobody can be there when so long a fill ends. A second hose halves it."),
            _("Change hoses or flow"),
            reverse("job-change", args=[job.pk]) + "#water-in",
        )
    if "crew" in causes[:1]:
        return Step(_("No fill day is found: no crew is free."), _("See the crews"), reverse("firm") + "#crews")
    return Step(
        _("No fill day is found within the weeks computed; what holds it back stands below."),
        _("See what holds it back"),
        "#dates",
    )


def guide(facts: DecisionFacts, *, may_change: bool) -> tuple[GuideStep, ...]:
    """A new firm's way to its first promised date and first plan; empty for a firm that has promised before."""
    if Job.objects.filter(promised_date__isnull=False).exists() and any(_issued(facts.plans)):
        return ()
    job = facts.jobs[-1] if facts.jobs else None
    skills = {skill for crew in facts.crews for skill in crew.skills}
    surveyed = job is not None and (job.state != JobState.SURVEYED or _answers(job) >= ENOUGH_ANSWERS)
    agreed = job is not None and job.state != JobState.SURVEYED
    promised = job is not None and job.promised_date is not None
    place = (
        {} if job is None else {name: reverse(name, args=[job.pk]) for name in ("survey", "scope-agree", "date-for")}
    )
    return (
        GuideStep(
            _("Set up your crews: who works together, with which skill (water, prep, plaster), from where and when."),
            set(Skill.values) <= skills,
            _("Set up your crews") if may_change else "",
            reverse("begin") if may_change else "",
        ),
        GuideStep(
            _("Open the first job: site, pool and pool owner, as on the telephone."),
            job is not None,
            _("Open the first job"),
            reverse("job-new"),
        ),
        GuideStep(
            _("Survey it: a tap an answer, until it is plain enough what is on the shell."),
            surveyed,
            _("Survey the pool"),
            place.get("survey", ""),
        ),
        GuideStep(
            _("Agree the scope: what comes off, what goes on; quantities and dates follow."),
            agreed,
            _("Agree the scope"),
            place.get("scope-agree", ""),
        ),
        GuideStep(
            _("Promise the date: each with its chance, and the sentence to say."),
            promised,
            _("Choose the date"),
            place.get("date-for", ""),
        ),
        GuideStep(
            _("Ask for the first plan and issue it: crews and calendars follow nothing but an issued plan."),
            any(_issued(facts.plans)),
            _("Look at it and issue it") if facts.plans else _("Ask for a plan"),
            reverse("changes" if facts.plans else "plan-ask"),
        ),
    )


def _issued(plans: Sequence[Plan]) -> list[Plan]:
    return [plan for plan in plans if plan.state == PlanState.ISSUED]


def _answers(job: Job) -> int:
    latest = Survey.objects.filter(pool=job.pool_id).order_by("taken_at", "id").last()
    return latest.observations.count() if latest else 0
