from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.formats import date_format
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_safe

from jobs.models import Job, JobState
from jobs.services.states import date_promise
from scheduling.forms.when import DayField
from scheduling.selectors.date_offer import date_offers, offer
from scheduling.selectors.job_dates import job_dates
from scheduling.services.date_plans import date_plans
from shared import access, clock
from shared.models import Firm

FARTHEST = dt.timedelta(days=730)
MAY_PROMISE = (JobState.SCOPE_AGREED, JobState.DATE_PROMISED, JobState.UNDER_WAY)


class PromiseForm(forms.Form):
    """The fill day to promise."""

    day = DayField(label=_("Fill day to promise"))

    def __init__(self, *args: Any, today: dt.date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today

    def clean_day(self) -> dt.date:
        day: dt.date = self.cleaned_data["day"]
        if not self.today <= day <= self.today + FARTHEST:
            raise forms.ValidationError(
                _("The promised date is %(day)s; allowed is %(first)s to %(last)s."),
                params={
                    "day": day.isoformat(),
                    "first": self.today.isoformat(),
                    "last": (self.today + FARTHEST).isoformat(),
                },
            )
        return day


@require_http_methods(["GET", "HEAD", "POST"])
def date_for(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """Which date may be told to the pool owner; `?day=` shows how sure another one is, POST promises it."""
    who = access.office(request)
    job = access.own(Job, pk, "site", "pool", "pool_owner")
    today = clock.now().astimezone(job.site.tz).date()
    asked = request.POST if request.method == "POST" else request.GET if request.GET.get("day") else None
    form = PromiseForm(asked, today=today, initial={"day": job.promised_date})
    good = form.is_valid()
    if request.method == "POST" and good:
        try:
            date_promise(job, day=form.cleaned_data["day"], by=who)
        except ValidationError as refused:
            form.add_error("day", refused.messages)
        else:
            said = date_format(form.cleaned_data["day"], "l j F")
            messages.success(request, _("%(day)s is promised; ask for a new plan to give it room.") % {"day": said})
            return redirect("job", job.pk)
    status = 422 if form.errors else 200
    return render(request, "scheduling/date_for.html", _shown(job, form, good), status=status)


def _shown(job: Job, form: PromiseForm, good: bool) -> dict[str, Any]:
    units = Firm.objects.values_list("units", flat=True).get()
    dates = job_dates(job, units) if job.fill_ahead else None
    offers = date_offers(job, dates) if dates else None
    rows = list(offers.offers) if offers else []
    chosen = form.cleaned_data["day"] if good else None
    if chosen and dates and offers and chosen not in {one.day for one in rows}:
        rows.append(offer(job, dates, chosen, str(_("your day")), offers.planned))
    return {
        "job": job,
        "form": form,
        "dates": dates,
        "offers": offers,
        "rows": sorted(rows, key=lambda one: one.day),
        "chosen": chosen,
        "may_promise": job.state in MAY_PROMISE,
        "units": units,
    }


@require_safe
def plans(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """Where the job would go in the plan in force, asked by the page once it is there; or a page itself."""
    who = access.office(request)
    job = access.own(Job, pk, "site", "pool", "pool_owner")
    units = Firm.objects.values_list("units", flat=True).get()
    found = date_plans(who.contractor, job, clock.now(), units) if job.fill_ahead else None
    context = {"job": job, "found": found, "units": units, "may_promise": job.state in MAY_PROMISE}
    fragment = bool(request.headers.get("HX-Request"))
    return render(request, f"scheduling/date_plans{'' if fragment else '_page'}.html", context)
