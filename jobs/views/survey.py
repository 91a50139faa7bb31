from __future__ import annotations

import uuid

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from jobs.models import Job
from shared import access


def survey(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    access.office(request)
    job = access.own(Job, pk, "site", "pool", "pool_owner")
    return render(request, "jobs/survey.html", {"job": job})


def survey_dry(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    access.office(request)
    job = access.own(Job, pk, "site", "pool", "pool_owner")
    return render(request, "jobs/survey.html", {"job": job})
