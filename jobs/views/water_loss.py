from __future__ import annotations

import uuid

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from jobs.condition.water_loss import WaterLoss
from jobs.forms.sentences import in_units
from jobs.forms.water_loss import WaterLossForm
from jobs.models import Job
from jobs.selectors.condition import survey_latest
from jobs.selectors.pools import pool_figures
from jobs.services.surveys import observation_record, survey_begin
from shared import access, clock
from shared.models import Firm, Membership


def water_loss(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """Loss beyond evaporation from two readings; "keep" makes it an answer of the survey."""
    who = access.office(request)
    job = access.own(Job, pk, "site", "pool")
    units = Firm.objects.get().units
    form = WaterLossForm(request.POST or None, units=units)
    loss = _loss(form, job, units) if request.method == "POST" else None
    if loss is not None and request.POST.get("do") == "keep":
        _keep(job, loss, who)
        messages.success(request, _("The water loss is an answer of the survey now."))
        return redirect("survey", job.pk)
    shown = {"job": job, "form": form, "loss": loss}
    return render(request, "jobs/water_loss.html", shown, status=422 if form.errors else 200)


def _loss(form: WaterLossForm, job: Job, units: str) -> WaterLoss | None:
    if not form.is_valid():
        return None
    try:
        return form.loss(pool_figures(job.pool).plan_m2)
    except ValueError as refused:
        form.add_error(None, in_units(str(refused), units))
        return None


def _keep(job: Job, loss: WaterLoss, who: Membership) -> None:
    """A loss that evaporation may explain counts as none."""
    found = survey_latest(job.pool) or survey_begin(job.pool, by=who, at=clock.now())
    value = round(loss.loss_mm_d, 1) if loss.beyond_evaporation else 0.0
    observation_record(found, name="water_loss_mm_d", value=min(value, 200.0), by=who, at=clock.now())
