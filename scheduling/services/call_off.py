"""A job is called off: its stints are dropped, its calendar entries cancelled, the reason kept."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from jobs.models import Job, JobState
from jobs.services.states import job_move
from scheduling.models import Stint, StintState
from scheduling.services.calendars import calendar_refresh
from scheduling.services.plans import stint_undone
from shared import clock
from shared.models import Contractor, Membership
from shared.services.audit import audit_note


@transaction.atomic
def job_call_off(contractor: Contractor, job: Job, *, by: Membership, why: str) -> Job:
    """Call an open job off; what was begun on site must be ended there first."""
    if not why.strip():
        raise ValidationError({"why": _("A job that is called off needs a reason.")})
    if not job.is_open:
        raise ValidationError(_("A job that is “%(state)s” cannot be called off.") % {"state": job.get_state_display()})
    Job.objects.select_for_update(no_key=True).get(pk=job.pk)  # so that no stint begins meanwhile
    begun = Stint.objects.filter(job=job, state=StintState.BEGUN).order_by("starts").first()
    if begun is not None:
        raise ValidationError(
            _("“%(stage)s” has begun on site: log it as done or different first.")
            % {"stage": begun.get_stage_display()}
        )
    job_move(job, JobState.CALLED_OFF, by=by)
    for stint in Stint.objects.filter(job=job, state__in=(StintState.ISSUED, StintState.PROPOSED)):
        stint_undone(stint, by=by, why=why)
    calendar_refresh(contractor, [job], at=clock.now())
    audit_note(by, "job called off", job, after={"why": why})
    return job
