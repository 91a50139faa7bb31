from __future__ import annotations

import uuid

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from jobs.models import Job
from shared import access


def job_new(request: HttpRequest) -> HttpResponse:
    access.office(request)
    return render(request, "jobs/first_call.html", {})
