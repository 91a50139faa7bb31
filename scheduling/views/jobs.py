from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from jobs.models import Job
from shared import access


def jobs(request: HttpRequest) -> HttpResponse:
    access.office(request)
    return render(request, "scheduling/jobs.html", {"jobs": Job.objects.select_related("site", "pool_owner")})
