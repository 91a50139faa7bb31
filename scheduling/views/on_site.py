"""What the pages of one job on site share: who may enter, the job with its firm, and the site's own clock."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from jobs.models import Job
from shared import access
from shared.models import Firm, Membership


def job_on_site(request: HttpRequest, pk: uuid.UUID) -> tuple[Membership, Job, Firm]:
    who = access.crew_or_office(request)
    return who, access.own(Job, pk, "site", "pool", "pool_owner"), Firm.objects.get()


def site_page(
    request: HttpRequest, template: str, job: Job, firm: Firm, context: dict[str, Any], status: int = 200
) -> HttpResponse:
    """The page with all times in the zone of the site and all figures in the firm's units."""
    with timezone.override(job.site.tz):
        return render(request, template, {"job": job, "firm": firm, "units": firm.units, **context}, status=status)
