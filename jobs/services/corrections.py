"""What was noted of a job is corrected; the audit trail keeps what it was."""

from __future__ import annotations

from typing import Any

from django.db import models, transaction
from django.db.models import F

from jobs.models import Job
from jobs.services.sites import site_check
from shared.models import Membership
from shared.services.audit import audit_note


@transaction.atomic
def job_correct(
    job: Job,
    *,
    by: Membership | str,
    pool_owner: dict[str, Any],
    site: dict[str, Any],
    work: dict[str, Any],
) -> Job:
    """Correct pool owner, site and work together; all of it or nothing."""
    _change(job.pool_owner, "pool owner corrected", pool_owner, by)
    if _change(job.site, "site corrected", site, by):
        site_check(job.site)
    if _change(job, "job corrected", work, by):
        Job.objects.filter(pk=job.pk).update(version=F("version") + 1)
    return job


def _change(row: models.Model, what: str, wanted: dict[str, Any], by: Membership | str) -> bool:
    changed = {name: value for name, value in wanted.items() if getattr(row, name) != value}
    if not changed:
        return False
    before = {name: _plain(getattr(row, name)) for name in changed}
    for name, value in changed.items():
        setattr(row, name, value)
    row.clean_fields(exclude={field.name for field in row._meta.fields} - set(changed))
    row.save(update_fields=list(changed))
    audit_note(by, what, row, before=before, after={name: _plain(value) for name, value in changed.items()})
    return True


def _plain(value: Any) -> Any:
    return value if isinstance(value, (bool, int, float, str, type(None))) else str(value)
