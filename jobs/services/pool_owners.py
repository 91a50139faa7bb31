from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from jobs.models import Job
from shared.services.audit import audit_note


@transaction.atomic
def fill_day_answer(job: Job, *, someone_home: bool, by: str) -> Job:
    """Keep what the pool owner says of the fill day: someone will be there, or ring first."""
    if not job.is_open:
        raise ValidationError(_("This job is over; ring us instead."))
    if job.someone_home == someone_home:
        return job
    before = job.someone_home
    job.someone_home = someone_home
    job.version = F("version") + 1
    job.save(update_fields=["someone_home", "version"])
    job.refresh_from_db(fields=["version"])
    audit_note(
        by, "answer for the fill day", job, before={"someone_home": before}, after={"someone_home": someone_home}
    )
    return job
