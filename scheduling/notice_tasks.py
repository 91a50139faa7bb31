"""Tasks of notices, mails and hooks: a look and a sweep over all firms, then one task a firm."""

from __future__ import annotations

from typing import Any

import structlog
from celery import signals
from celery.exceptions import SoftTimeLimitExceeded

from scheduling.selectors.outgoing_waiting import something_waits
from scheduling.services.hook_calls import calls_send
from scheduling.services.mails import mails_gather, mails_send
from scheduling.services.notices import notices_look
from shared import clock
from shared.models import Contractor
from shared.queued import queued
from shared.tenancy.context import acting_for

log = structlog.stdlib.get_logger(__name__)


@queued(name="scheduling.notices_look", on_queue="notices", expires=280)
def notices_look_task() -> None:
    """What fell due, firm by firm; one bad firm stops no other."""
    for contractor in Contractor.objects.order_by("pk"):
        try:
            with acting_for(contractor.pk):
                notices_look(contractor, now=clock.now())
        except SoftTimeLimitExceeded:
            raise
        except Exception:
            log.exception("notices not looked at", contractor=str(contractor.pk))


@queued(name="scheduling.outgoing_sweep", on_queue="notices", expires=55)
def outgoing_sweep_task() -> None:
    """Wake what waits, and what a dead worker left."""
    for contractor in Contractor.objects.order_by("pk"):
        with acting_for(contractor.pk):
            mails, calls = something_waits(clock.now())
        if mails:
            mails_task.delay(str(contractor.pk))
        if calls:
            hook_calls_task.delay(str(contractor.pk))


@queued(name="scheduling.mails", on_queue="notices")
def mails_task(contractor_id: str) -> None:
    contractor = Contractor.objects.get(pk=contractor_id)
    with acting_for(contractor.pk):
        mails_gather(contractor, now=clock.now())
    mails_send(contractor)


@queued(name="scheduling.hook_calls", on_queue="notices")
def hook_calls_task(contractor_id: str) -> None:
    calls_send(Contractor.objects.get(pk=contractor_id))


@signals.beat_init.connect
def _beat_began(**_: Any) -> None:
    """What fell due while beat was away is looked for at once, not after the first interval."""
    notices_look_task.delay()
