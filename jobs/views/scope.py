from __future__ import annotations

import uuid

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from jobs.models import Job
from shared import access


def scope_agree(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    access.office(request)
    job = access.own(Job, pk, "site", "pool", "pool_owner")
    return render(request, "jobs/scope.html", {"job": job})
