from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from jobs.forms.measures import service_errors
from jobs.selectors.sites import branches
from scheduling.forms.crew import AbsenceForm, CrewForm, crew_initial
from scheduling.models import Absence, Crew, Stint, StintState
from scheduling.selectors.absent import stints_hit
from scheduling.selectors.links import CREW, links_of
from scheduling.services import crews
from scheduling.tasks import expected_dates_task
from shared import access, clock
from shared.models import Firm, Membership, TokenKind


def crew_new(request: HttpRequest) -> HttpResponse:
    who = access.manager(request)
    usual = {"branch": (branches() or ["main"])[0], "people": 3, "active": True}
    usual |= {f"{edge}_{day}": minutes for day in range(5) for edge, minutes in (("from", 420), ("to", 1020))}
    form = CrewForm(request.POST or None, units=Firm.objects.get().units, initial=usual)
    if request.method == "POST" and form.is_valid():
        try:
            made = crews.crew_make(**form.crew, by=who)
            if form.cleaned_data["lead"]:
                made.lead = form.cleaned_data["lead"]
                made.save(update_fields=["lead"])
        except ValidationError as refused:
            service_errors(form, refused)
        else:
            return _kept(request, who, made, _("The crew is there; the next plan counts on it."))
    shown = {"form": form, "may_change": True, "branches": branches()}
    return render(request, "scheduling/crew.html", shown, status=422 if form.errors else 200)


def crew(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """A crew with its week, absences and calendar link."""
    who = access.office(request)
    found = access.own(Crew, pk, "lead__person")
    form = CrewForm(units=Firm.objects.get().units, initial=crew_initial(found))
    return _page(request, who, found, form, AbsenceForm())


def crew_change(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """Change people, skills and shifts."""
    who = access.manager(request)
    found = access.own(Crew, pk, "lead__person")
    if request.method != "POST":
        return redirect("crew", found.pk)
    form = CrewForm(request.POST, units=Firm.objects.get().units, initial=crew_initial(found))
    if form.is_valid():
        kept = form.cleaned_data
        try:
            crews.crew_change(found, **form.crew, lead=kept["lead"], active=kept["active"], by=who)
        except ValidationError as refused:
            service_errors(form, refused)
        else:
            return _kept(request, who, found, _("Kept. Issued stints stay until the next plan."))
    return _page(request, who, found, form, AbsenceForm())


def absence(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """Days on which the crew does not work; the office notes them, since somebody is ill in the morning."""
    who = access.office(request)
    found = access.own(Crew, pk, "lead__person")
    if request.method != "POST":
        return redirect("crew", found.pk)
    form = AbsenceForm(request.POST)
    if form.is_valid():
        try:
            crews.absence_note(found, **form.cleaned_data, by=who)
        except ValidationError as refused:
            service_errors(form, refused)
        else:
            return _kept(request, who, found, _absence_words(found, form))
    crew_form = CrewForm(units=Firm.objects.get().units, initial=crew_initial(found))
    return _page(request, who, found, crew_form, form)


@require_POST
def absence_end(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    who = access.office(request)
    found = access.own(Absence, pk, "crew")
    crews.absence_end(found, by=who)
    return _kept(request, who, found.crew, _("The crew works on those days after all."))


def _absence_words(found: Crew, form: AbsenceForm) -> str:
    days = form.cleaned_data["first_day"], form.cleaned_data["last_day"]
    if _stints_between(found, *days).exists():
        return _("The absence is kept. The crew has issued stints on those days: ask for a new plan.")
    return _("The absence is kept.")


def _stints_between(found: Crew, first: Any, last: Any) -> QuerySet[Stint]:
    return Stint.objects.filter(crew=found, state=StintState.ISSUED, starts__date__lte=last, ends__date__gte=first)


def _kept(request: HttpRequest, who: Membership, found: Crew, words: str) -> HttpResponse:
    expected_dates_task.delay_on_commit(str(who.contractor_id))
    messages.success(request, words)
    return redirect("crew", found.pk)


def _page(
    request: HttpRequest, who: Membership, found: Crew, form: CrewForm, absence_form: AbsenceForm
) -> HttpResponse:
    today = clock.now().astimezone(who.contractor.tz).date()
    shown = {
        "crew": found,
        "form": form,
        "absence_form": absence_form,
        "absences": found.absences.filter(last_day__gte=today).order_by("first_day"),
        "hit": stints_hit(found, today),
        "links": links_of([(TokenKind.FEED, CREW)], [found.pk]),
        "may_change": who.is_manager,
        "branches": branches(),
    }
    refused = form.errors or absence_form.errors
    return render(request, "scheduling/crew.html", shown, status=422 if refused else 200)
