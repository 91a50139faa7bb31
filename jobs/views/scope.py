from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from jobs.forms.measures import service_errors
from jobs.forms.scope import ScopeForm
from jobs.models import Job, Survey
from jobs.selectors.condition import scope_proposed, survey_latest
from jobs.selectors.quantities import scope_latest
from jobs.selectors.scope_page import scope_choices, scope_page
from jobs.services.dates_ask import dates_ask
from jobs.services.scopes import scope_agree as agree
from shared import access
from shared.models import Firm


def scope_agree(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """The proposed scope with what decided it; "try" shows the quantities of another one without keeping it."""
    who = access.office(request)
    job = access.own(Job, pk, "site", "pool", "pool_owner")
    firm, survey = Firm.objects.get(), survey_latest(job.pool)
    if survey is None or not survey.observations.exists():
        return render(request, "jobs/scope.html", {"job": job, "page": None})
    form = _form(request, job, survey, firm)
    if request.method == "POST" and form.is_valid() and request.POST.get("do") != "try":
        try:
            agree(job, by=who, **_wanted(form))
        except ValidationError as refused:
            service_errors(form, refused)
        else:
            dates_ask(who.contractor)
            messages.success(request, _("The scope is agreed. Expected dates follow in a moment."))
            return redirect("job", job.pk)
    kept = form.cleaned_data if form.is_bound and form.is_valid() else form.initial
    page = scope_page(job, survey, firm, kind=kept.get("kind") or "", repairs_h=kept.get("repairs_h") or 0.0)
    shown = {"job": job, "page": page, "form": form, "agreed": scope_latest(job), "survey": survey}
    template = "jobs/scope_quantities.html" if request.htmx else "jobs/scope.html"  # type: ignore[attr-defined]  # set by its middleware
    return render(request, template, shown, status=422 if form.errors else 200)


def _form(request: HttpRequest, job: Job, survey: Survey, firm: Firm) -> ScopeForm:
    decision, agreed = scope_proposed(job, survey), scope_latest(job)
    same = agreed is not None and agreed.survey_id == survey.pk
    initial = {
        "kind": agreed.kind if agreed is not None and same else decision.kind,
        "repairs_h": agreed.repairs_h if agreed is not None else 0.0,
        "why": agreed.overruled if agreed is not None and same else "",
    }
    return ScopeForm(request.POST or None, units=firm.units, choices=scope_choices(decision), initial=initial)


def _wanted(form: ScopeForm) -> dict[str, Any]:
    kept = form.cleaned_data
    return {"kind": kept["kind"], "why": kept["why"], "repairs_h": kept["repairs_h"] or 0.0}
