from __future__ import annotations

import uuid

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from jobs.models import Job
from shared import access


@require_POST
def log(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    access.crew_or_office(request)
    access.own(Job, pk)
    return redirect("today")
