from __future__ import annotations

import uuid

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from jobs.models import Outcome
from jobs.selectors.learned import firm_rates
from jobs.timeline.limits import Limits
from scheduling.forms.own_work import EntryForm, ResetForm
from scheduling.selectors.own_work import own_figures, own_work_svg
from scheduling.selectors.refusals import mornings_decided, refusal_rows
from scheduling.services.outcomes import learning_reset, outcome_count
from scheduling.tasks import expected_dates_task
from shared import access
from shared.models import Firm, Membership


@require_safe
def own_work(request: HttpRequest) -> HttpResponse:
    """What the firm's own finished work says about its figures."""
    who = access.office(request)
    return _page(request, who)


@require_POST
def reset(request: HttpRequest) -> HttpResponse:
    """Only what is finished from now on counts for this figure."""
    who = access.office(request)
    form = ResetForm(request.POST)
    if not form.is_valid():
        return _page(request, who, [str(error) for errors in form.errors.values() for error in errors])
    learning_reset(form.cleaned_data["what"], by=who, why=form.cleaned_data["why"])
    return _kept(request, who)


@require_POST
def entry(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """One entry counts, or does not."""
    who = access.office(request)
    found = access.own(Outcome, pk, "job__site")
    form = EntryForm(request.POST)
    if not form.is_valid():
        return _page(request, who, [str(error) for errors in form.errors.values() for error in errors])
    try:
        outcome_count(found, counts=form.cleaned_data["counts"] == "yes", by=who, why=form.cleaned_data["why"])
    except ValidationError as refused:
        return _page(request, who, refused.messages)
    return _kept(request, who)


def _kept(request: HttpRequest, who: Membership) -> HttpResponse:
    expected_dates_task.delay_on_commit(str(who.contractor_id))
    messages.success(request, _("Kept. Expected dates follow in a moment."))
    return redirect("own-work")


def _page(request: HttpRequest, who: Membership, refused: list[str] | None = None) -> HttpResponse:
    firm = Firm.objects.get()
    figures = own_figures(firm)
    chart = own_work_svg(figures) if any(each.found.n for each in figures) else ""
    decided = mornings_decided(firm, firm_rates(firm), Limits().tightened(**firm.limits))
    shown = {
        "firm": firm,
        "units": firm.units,
        "figures": figures,
        "chart": mark_safe(chart),  # drawn here, every word escaped
        "refused": refused or (),
        "mornings": decided,
        "shares": refusal_rows(decided),
    }
    return render(request, "scheduling/own_work.html", shown, status=422 if refused else 200)
