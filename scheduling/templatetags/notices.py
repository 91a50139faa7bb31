"""`{% load notices %}{% job_notices job %}`: what was told about a job."""

from __future__ import annotations

from typing import Any

from django import template
from django.template import Context

from jobs.models import Job
from scheduling.selectors.notices_page import of_job
from shared.models.firm import Units

register = template.Library()


@register.inclusion_tag("scheduling/job_notices.html", takes_context=True)
def job_notices(context: Context, job: Job) -> dict[str, Any]:
    """The newest mails about this job."""
    return {"rows": of_job(job), "units": context.get("units", Units.US)}
