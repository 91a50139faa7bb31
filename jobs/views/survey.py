from __future__ import annotations

import uuid
from collections.abc import Sequence

from django.contrib import messages
from django.core.exceptions import BadRequest, ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from jobs.condition.cautions import BARRIER, EMPTY_POOL
from jobs.condition.observations import BY_NAME
from jobs.forms.sentences import in_units
from jobs.forms.survey import ObservationForm
from jobs.models import Job, Survey
from jobs.selectors.condition import survey_latest
from jobs.selectors.photos import photos_of
from jobs.selectors.survey_page import Question, survey_page
from jobs.services.surveys import observation_record, survey_begin
from shared import access, clock
from shared.models import Firm, Membership


def survey(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """Questions in the order of what they tell per minute; every answer moves the picture."""
    who = access.office(request)
    job = access.own(Job, pk, "site", "pool", "pool_owner")
    units = Firm.objects.get().units
    refused: ObservationForm | None = None
    if request.method == "POST":
        refused = _answer(request, job, who, units)
        if refused is None and not request.htmx:  # type: ignore[attr-defined]  # set by its middleware
            return redirect("survey", job.pk)
    page = survey_page(survey_latest(job.pool))
    shown = {
        "job": job,
        "page": page,
        "forms": _forms(page.questions, units, refused),
        "again": refused.observation.name if refused else "",
        "earlier": Survey.objects.filter(pool=job.pool).order_by("-taken_at")[1:10],
        "photos": photos_of(job.pool),
        "cautions": (EMPTY_POOL, BARRIER),
    }
    template = "jobs/survey_body.html" if request.htmx else "jobs/survey.html"  # type: ignore[attr-defined]  # set by its middleware
    return render(request, template, shown, status=422 if refused else 200)


@require_POST
def survey_dry(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """Begin the survey of the empty pool; it starts from what the last one found."""
    who = access.office(request)
    job = access.own(Job, pk, "pool")
    latest = survey_latest(job.pool)
    if latest is None or not latest.dry:
        survey_begin(job.pool, by=who, at=clock.now(), dry=True)
        messages.success(request, _("The survey of the empty pool has begun; earlier answers are carried over."))
    return redirect("survey", job.pk)


def _answer(request: HttpRequest, job: Job, who: Membership, units: str) -> ObservationForm | None:
    """Keep or take back one answer; the form where it is refused."""
    observation = BY_NAME.get(request.POST.get("name", ""))
    if observation is None:
        raise BadRequest("No observation of the survey has this name.")
    found = survey_latest(job.pool)
    form = ObservationForm(observation, request.POST, units=units)
    if request.POST.get("do") == "take-back":
        if found is not None:
            observation_record(found, name=observation.name, value=None, by=who, at=clock.now())
        return None
    if observation.needs_empty_pool and not (found is not None and found.dry):
        form.add_error("value", _("This is looked at in the empty pool: begin the survey of the empty pool first."))
    if not form.is_valid():
        return form
    try:
        found = found or survey_begin(job.pool, by=who, at=clock.now())
        observation_record(found, name=observation.name, value=form.answer, by=who, at=clock.now())
    except ValidationError as refused:
        form.add_error("value", [in_units(sentence, units) for sentence in refused.messages])
        return form
    return None


def _forms(
    questions: Sequence[Question], units: str, refused: ObservationForm | None
) -> list[tuple[Question, ObservationForm]]:
    """Each question with its form; the refused one keeps what was typed."""
    shown = []
    for question in questions:
        mine = refused if refused and refused.observation is question.observation else None
        shown.append((question, mine or ObservationForm(question.observation, units=units)))
    return shown
