from __future__ import annotations

import uuid

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from jobs.models import Job
from shared import access


def job(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    access.office(request)
    return render(request, "scheduling/job.html", {"job": access.own(Job, pk, "site", "pool", "pool_owner")})


@require_POST
def job_call_off(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    access.office(request)
    return redirect("job", access.own(Job, pk).pk)


@require_POST
def groundwater(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    access.office(request)
    return redirect("job", access.own(Job, pk).pk)
