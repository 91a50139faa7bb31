from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from jobs.forms.measures import service_errors
from jobs.timeline.limits import LIMIT_CATALOGUE
from jobs.timeline.rates import RATE_CATALOGUE, Rates
from scheduling.forms.firm import FirmForm, LimitsForm, RatesForm, firm_initial, shown_value
from scheduling.selectors.firm_page import crew_rows, limits_in_force, rates_in_force
from scheduling.selectors.links import DOUBT, FIRM, links_of
from scheduling.services.firm_settings import firm_change, limits_set, rates_set
from scheduling.tasks import expected_dates_task
from shared import access, clock
from shared.models import Firm, Membership, TokenKind


def firm(request: HttpRequest) -> HttpResponse:
    """The firm at a glance."""
    who = access.office(request)
    found = Firm.objects.get()
    return _page(request, who, found, FirmForm(units=found.units, initial=firm_initial(found)))


def firm_settings(request: HttpRequest) -> HttpResponse:
    """Units, contact, equipment and weights."""
    who = access.manager(request)
    if request.method != "POST":
        return redirect("firm")
    found = Firm.objects.get()
    form = FirmForm(request.POST, units=found.units, initial=firm_initial(found))
    if form.is_valid():
        try:
            firm_change(found, by=who, **form.settings)
        except ValidationError as refused:
            service_errors(form, refused)
        else:
            return _kept(request, str(who.contractor_id))
    return _page(request, who, found, form)


def _page(request: HttpRequest, who: Membership, found: Firm, form: FirmForm) -> HttpResponse:
    shown = {
        "firm": found,
        "form": form,
        "crews": crew_rows(clock.now().astimezone(who.contractor.tz).date(), found.units),
        "limits": limits_in_force(found),
        "rates": rates_in_force(found),
        "links": links_of([(TokenKind.FEED, FIRM), (TokenKind.FEED, DOUBT)]),
        "may_change": who.is_manager,
    }
    return render(request, "scheduling/firm.html", shown, status=422 if form.errors else 200)


def limits(request: HttpRequest) -> HttpResponse:
    """Weather limits of the firm; hard ones may only be tightened."""
    who = access.manager(request)
    found = Firm.objects.get()
    stored = {
        name: shown_value(limit.unit, float(found.limits.get(name, limit.default)))
        for name, limit in LIMIT_CATALOGUE.items()
    }
    form = LimitsForm(request.POST or None, units=found.units, initial=stored)
    if request.method == "POST" and form.is_valid():
        try:
            limits_set(found, form.limits, by=who)
        except ValidationError as refused:
            service_errors(form, refused)
        else:
            return _kept(request, str(who.contractor_id))
    rows = [(form[row.name], row) for row in limits_in_force(found)]
    return _settings(request, _("Limits of the weather"), "limits", form, rows)


def rates(request: HttpRequest) -> HttpResponse:
    """Production rates and mixes of the firm."""
    who = access.manager(request)
    found, usual = Firm.objects.get(), Rates()
    stored = {
        name: shown_value(entry.unit, float(found.rates.get(name, getattr(usual, name))))
        for name, entry in RATE_CATALOGUE.items()
    }
    form = RatesForm(request.POST or None, units=found.units, initial=stored)
    if request.method == "POST" and form.is_valid():
        try:
            rates_set(found, form.rates, by=who)
        except ValidationError as refused:
            service_errors(form, refused)
        else:
            return _kept(request, str(who.contractor_id))
    rows = [(form[row.name], row) for row in rates_in_force(found)]
    return _settings(request, _("Rates and mixes"), "rates", form, rows)


def _kept(request: HttpRequest, contractor_id: str) -> HttpResponse:
    expected_dates_task.delay_on_commit(contractor_id)
    messages.success(request, _("Kept. Expected dates follow in a moment."))
    return redirect("firm")


def _settings(request: HttpRequest, title: str, kind: str, form: Any, rows: list[Any]) -> HttpResponse:
    shown = {"title": title, "kind": kind, "form": form, "rows": rows}
    return render(request, "scheduling/firm_settings.html", shown, status=422 if form.errors else 200)
