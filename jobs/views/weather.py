from __future__ import annotations

import uuid

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from jobs.forms.weather import WeatherFileForm
from jobs.models import WeatherFile
from jobs.selectors.weather_page import weather_page
from jobs.services.dates_ask import dates_ask
from jobs.services.weather_files import weather_file_keep, weather_file_remove, weather_source_set
from jobs.timeline.weather_files import COLUMNS, TIME_COLUMNS
from shared import access, clock
from shared.models import Firm


@require_safe
def weather(request: HttpRequest) -> HttpResponse:
    """Where the firm's weather comes from, how old it is, and the files it brought itself."""
    who = access.office(request)
    shown = {
        "page": weather_page(Firm.objects.get(), clock.now()),
        "may_change": who.is_manager,
        "zone": who.contractor.zone,
    }
    return render(request, "jobs/weather.html", shown)


@require_POST
def weather_source(request: HttpRequest) -> HttpResponse:
    """Choose the source of forecasts."""
    who = access.manager(request)
    try:
        weather_source_set(Firm.objects.get(), request.POST.get("source", ""), by=who)
    except ValidationError as refused:
        messages.error(request, " ".join(refused.messages))
        return redirect("weather")
    dates_ask(who.contractor)
    messages.success(request, _("Kept. Forecasts of the new source are asked for; expected dates follow."))
    return redirect("weather")


def weather_file(request: HttpRequest) -> HttpResponse:
    """Bring hours of weather; a refusal names line, column, value and unit, and keeps what was sent."""
    who = access.manager(request)
    sent = request.method == "POST"
    form = WeatherFileForm(request.POST if sent else None, request.FILES if sent else None)
    if sent and form.is_valid():
        found = form.cleaned_data
        try:
            file = weather_file_keep(
                name=found["name"],
                latitude=found["latitude"],
                longitude=found["longitude"],
                text=found["text"],
                file_name=found.get("file_name", ""),
                by=who,
            )
        except ValidationError as refused:
            form.refused(refused)
        else:
            dates_ask(who.contractor)
            messages.success(request, _("%(hours)s hours are kept.") % {"hours": file.count})
            return redirect("weather")
    shown = {"form": form.kept(), "columns": sorted(COLUMNS), "time_columns": list(TIME_COLUMNS)}
    return render(request, "jobs/weather_file.html", shown, status=422 if form.errors else 200)


@require_POST
def weather_file_remove_view(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    who = access.manager(request)
    weather_file_remove(access.own(WeatherFile, pk), by=who)
    dates_ask(who.contractor)
    messages.success(request, _("The file is removed."))
    return redirect("weather")
