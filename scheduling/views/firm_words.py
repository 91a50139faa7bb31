from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import override

from jobs.firm_words import LANGUAGES, PLACES
from jobs.selectors.start_up_figures import start_up_settings
from jobs.timeline.start_up_settings import StartUpSettings
from scheduling.forms.first_month import FirstMonthForm, WordsForm, first_month_initial
from scheduling.services.firm_settings import start_up_set, words_set
from shared import access
from shared.models import Firm


def words(request: HttpRequest) -> HttpResponse:
    """What the firm says in its own words on site and to pool owners."""
    who = access.manager(request)
    found = Firm.objects.get()
    form = WordsForm(request.POST or None, firm=found)
    if request.method == "POST" and form.is_valid():
        words_set(found, form.words, by=who)
        messages.success(request, _("Kept."))
        return redirect("firm-words")
    rows = [
        (each.label, [(form[f"{place}_{language}"], _usual(each.usual, language)) for language in LANGUAGES])
        for place, each in PLACES.items()
    ]
    shown: dict[str, Any] = {"form": form, "rows": rows}
    return render(request, "scheduling/firm_words.html", shown, status=422 if form.errors else 200)


def _usual(text: str, language: str) -> str:
    with override(language):
        return _(text) if text else ""


def _plain(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def first_month(request: HttpRequest) -> HttpResponse:
    """The firm's own figures of the first month of water."""
    who = access.manager(request)
    found = Firm.objects.get()
    form = FirstMonthForm(
        request.POST or None, units=found.units, initial=first_month_initial(start_up_settings(found))
    )
    if request.method == "POST" and form.is_valid():
        try:
            start_up_set(found, form.figures, by=who)
        except ValidationError as refused:
            form.add_error(None, refused)
        else:
            messages.success(request, _("Kept. The next plan follows it."))
            return redirect("first-month")
    usual = first_month_initial(StartUpSettings())
    rows = [(field, _plain(usual.get(field.name, ""))) for field in form]
    shown = {"form": form, "rows": rows}
    return render(request, "scheduling/first_month.html", shown, status=422 if form.errors else 200)
