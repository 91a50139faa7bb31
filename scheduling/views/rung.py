from __future__ import annotations

import uuid

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from jobs.models import Job
from jobs.services.pool_owners import fill_day_answer
from shared import access


@require_POST
def job_rung(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """The office has rung the pool owner: someone will be there on the fill day."""
    who = access.office(request)
    job = access.own(Job, pk, "site", "pool_owner")
    try:
        fill_day_answer(job, someone_home=True, by=f"{who.person.name}, by telephone")
    except ValidationError as refused:
        messages.error(request, " ".join(refused.messages))
    else:
        messages.success(request, _("Noted: someone will be there."))
    return redirect("home")
