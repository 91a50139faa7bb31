from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from jobs.forms.pool import PoolForm, pool_initial
from jobs.forms.sentences import in_units
from jobs.models import Job, Pool
from jobs.selectors.pool_drawings import PoolPicture, pool_picture
from jobs.services.dates_ask import dates_ask
from jobs.services.first_call import pool_measure
from shared import access
from shared.models import Firm


def pool(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """Measures on one side, what follows from them on the other; "try" shows the result without keeping it."""
    who = access.office(request)
    job = access.own(Job, pk, "site", "pool", "pool_owner")
    units = Firm.objects.get().units
    form = PoolForm(request.POST or None, units=units, initial=pool_initial(job.pool))
    if request.method != "POST":
        return _page(request, job, form, _picture(job.pool, units, form))
    if not form.is_valid():
        return _page(request, job, form, None, status=422)
    if request.POST.get("do") == "try":
        return _page(request, job, form, _picture(Pool(site=job.pool.site, **form.measures), units, form))
    try:
        pool_measure(job.pool, by=who, **form.measures)
    except ValidationError as refused:
        for sentence in refused.messages:
            form.add_error(None, in_units(sentence, units))
        return _page(request, job, form, None, status=422)
    dates_ask(who.contractor)
    messages.success(request, _("Kept. Quantities and expected dates follow from these measures."))
    return redirect("pool", job.pk)


def _picture(measured: Pool, units: str, form: PoolForm) -> PoolPicture | None:
    """The drawings, or None with the sentence of the geometry on the form."""
    try:
        return pool_picture(measured, units)  # type: ignore[arg-type]  # an unsaved pool does as well
    except ValueError as refused:
        if form.is_bound:
            form.add_error(None, in_units(str(refused), units))
        return None


def _page(
    request: HttpRequest, job: Job, form: PoolForm, picture: PoolPicture | None, status: int = 200
) -> HttpResponse:
    shown: dict[str, Any] = {"job": job, "form": form, "picture": picture}
    if request.htmx:  # type: ignore[attr-defined]  # set by its middleware
        return render(request, "jobs/pool_result.html", shown)
    return render(request, "jobs/pool.html", shown, status=status)
