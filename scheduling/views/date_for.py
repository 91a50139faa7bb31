from __future__ import annotations

import uuid

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from jobs.models import Job
from shared import access


def date_for(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    access.office(request)
    return render(request, "scheduling/date_for.html", {"job": access.own(Job, pk, "site", "pool_owner")})
