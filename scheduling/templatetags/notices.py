"""`{% load notices %}{% job_notices job %}`: what was told about a job."""

from __future__ import annotations

from typing import Any

from django import template

from jobs.models import Job
from scheduling.selectors.notices_page import of_job

register = template.Library()


@register.inclusion_tag("scheduling/job_notices.html")
def job_notices(job: Job) -> dict[str, Any]:
    """The newest mails about this job."""
    return {"rows": of_job(job)}
