from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from jobs.forms.measures import service_errors
from scheduling.forms.begin import BeginForm
from scheduling.models import Crew
from scheduling.services.begin import crews_begin
from scheduling.tasks import expected_dates_task
from shared import access


def begin(request: HttpRequest) -> HttpResponse:
    """The first crews of a firm in one go; later each has a page of its own."""
    who = access.manager(request)
    form = BeginForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        latitude, longitude = form.cleaned_data["position"]
        try:
            crews_begin(
                form.people,
                latitude=latitude,
                longitude=longitude,
                shifts=form.shifts,
                branch=form.cleaned_data["branch"],
                by=who,
            )
        except ValidationError as refused:
            service_errors(form, refused)
        else:
            expected_dates_task.delay_on_commit(str(who.contractor_id))
            messages.success(request, _("Your crews are there. Hours, absences and crew leads: on the page Firm."))
            return redirect("home")
    shown = {"form": form, "crews": Crew.objects.filter(active=True).order_by("name")}
    return render(request, "scheduling/begin.html", shown, status=422 if form.errors else 200)
