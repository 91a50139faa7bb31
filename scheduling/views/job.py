from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from jobs.forms.measures import service_errors
from jobs.models import ExpectedDates, Job
from jobs.selectors.survey_state import survey_state
from scheduling.forms.job import RELIEF_VALVE, CallOffForm, GroundwaterForm
from scheduling.selectors.job_page import job_page
from scheduling.selectors.next_step import next_step
from scheduling.services.call_off import job_call_off as call_off
from scheduling.services.groundwater import groundwater_record
from scheduling.tasks import expected_dates_task
from shared import access, clock
from shared.models import Firm


def job(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """The whole story of a job on one page; while its dates are computed the page asks whether they are there."""
    who = access.office(request)
    found = access.own(Job, pk, "site", "pool", "pool_owner")
    if request.htmx:  # type: ignore[attr-defined]  # set by its middleware
        there = ExpectedDates.objects.filter(job=found).exists()
        return HttpResponse(status=200 if there else 204, headers={"HX-Refresh": "true"} if there else {})
    firm = Firm.objects.get()
    form = GroundwaterForm(units=firm.units, today=clock.now().astimezone(found.site.tz).date())
    shown = _shown(found, firm, form)
    if who.is_manager and not found.is_open:
        shown["erase_url"] = reverse("pool-owner-erase", args=[found.pk])
    return render(request, "scheduling/job.html", shown)


def groundwater(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """The record without which no drain is issued."""
    who = access.office(request)
    found = access.own(Job, pk, "site", "pool", "pool_owner")
    firm = Firm.objects.get()
    if request.method != "POST":
        return redirect("job", found.pk)
    form = GroundwaterForm(request.POST, units=firm.units, today=clock.now().astimezone(found.site.tz).date())
    if form.is_valid():
        try:
            released = groundwater_record(who.contractor, found, by=who, data=form.record)
        except ValidationError as refused:
            service_errors(form, refused)
        else:
            said = _("The record is kept and the drain is issued.") if released else _("The record is kept.")
            messages.success(request, said)
            return redirect("job", found.pk)
    return render(request, "scheduling/job.html", _shown(found, firm, form), status=422)


def job_call_off(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """Asks why, then drops the stints and cancels the calendar entries."""
    who = access.office(request)
    found = access.own(Job, pk, "site", "pool_owner")
    form = CallOffForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            call_off(who.contractor, found, by=who, why=form.cleaned_data["why"])
        except ValidationError as refused:
            service_errors(form, refused)
        else:
            expected_dates_task.delay_on_commit(str(who.contractor_id))
            messages.success(request, _("The job is called off; ask for a new plan to use its days."))
            return redirect("job", found.pk)
    shown = {"job": found, "form": form}
    return render(request, "scheduling/call_off.html", shown, status=422 if form.errors else 200)


def _shown(found: Job, firm: Firm, form: GroundwaterForm) -> dict[str, Any]:
    page = job_page(found, firm, clock.now())
    step = next_step(
        found,
        answers=page.condition.answers,
        state=survey_state(found),
        stints=page.stints,
        band=page.dates.expected.band if page.dates else None,
    )
    return {"page": page, "job": found, "form": form, "valves": RELIEF_VALVE, "step": step}
