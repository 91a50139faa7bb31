"""What was noted of a job is corrected; the audit trail keeps what it was."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.db.models import F
from django.utils.translation import gettext as _

from jobs.models import Job, StartUp
from jobs.selectors.water import acid_signature
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
    """Correct pool owner, site and work together; all of it or nothing.

    The acid start-up needs a signature before it can be chosen.
    """
    acid = work.get("start_up_method") == StartUp.ACID and job.start_up_method != StartUp.ACID
    if acid and acid_signature(job) is None:
        raise ValidationError(
            {
                "start_up_method": _(
                    "The acid start-up needs a signature first: sign it on the start-up page of the job."
                )
            }
        )
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
