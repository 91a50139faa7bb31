from __future__ import annotations

import uuid

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from jobs.models import Job
from shared import access


def fill_watch(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    access.crew_or_office(request)
    job = access.own(Job, pk, "site")
    return render(request, "site/first.html", {"heading": job})
