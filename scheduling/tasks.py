"""Thin wrappers: each task is its service. Sweeps read contractor ids, then open one tenant at a time."""

from __future__ import annotations

import uuid

import structlog
from celery.exceptions import SoftTimeLimitExceeded

from scheduling.notice_tasks import hook_calls_task, mails_task, notices_look_task, outgoing_sweep_task
from scheduling.services.expected_dates import expected_dates_refresh_one, jobs_to_refresh, setting_of
from scheduling.services.plan_runs import runs_sweep
from scheduling.services.run_search import run_search
from shared import clock
from shared.models import Contractor
from shared.queued import queued
from shared.tenancy.context import acting_for

__all__ = ["hook_calls_task", "mails_task", "notices_look_task", "outgoing_sweep_task"]

log = structlog.stdlib.get_logger(__name__)


@queued(name="scheduling.plan_search", on_queue="plan")
def plan_search_task(contractor_id: str, run_id: str) -> None:
    run_search(uuid.UUID(contractor_id), uuid.UUID(run_id))


@queued(name="scheduling.sweep", on_queue="default", expires=60)
def sweep_task() -> None:
    for contractor in Contractor.objects.order_by("pk"):
        with acting_for(contractor.pk):
            runs_sweep(contractor)


@queued(name="scheduling.expected_dates", on_queue="weather")
def expected_dates_task(contractor_id: str) -> None:
    """One short transaction a job, so that nobody waits for the whole firm and one bad job stops no other."""
    contractor = Contractor.objects.get(pk=contractor_id)
    with acting_for(contractor.pk):
        setting, ids = setting_of(contractor), jobs_to_refresh()
    for job_id in ids:
        try:
            with acting_for(contractor.pk):
                expected_dates_refresh_one(contractor, job_id, clock.now(), setting)
        except SoftTimeLimitExceeded:
            raise
        except Exception:
            log.exception("expected dates not computed", job=str(job_id))


@queued(name="scheduling.refresh", on_queue="weather", expires=900)
def refresh_task() -> None:
    """New weather for every firm's cells, then its expected dates, a task a firm."""
    for contractor in Contractor.objects.order_by("pk"):
        expected_dates_task.delay(str(contractor.pk))
