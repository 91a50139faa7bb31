"""A search for a plan: the row is the queue, the message only wakes a worker."""

from __future__ import annotations

import datetime as dt
import uuid

from django.db import transaction
from django.db.models import F, Q

from scheduling.models import PlanRun, RunState
from shared import clock
from shared.models import Contractor, Membership
from shared.services.audit import audit_note
from shared.waking import task_wake

MAX_ATTEMPTS = 3
SILENT_S = 120  # a running search that has not said anything for so long has died


@transaction.atomic
def plan_ask(
    contractor: Contractor, *, by: Membership | str, branch: str = "main", why: str = "", seconds: int = 20
) -> PlanRun:
    """Ask for a new proposal of a branch; while one is being searched, that one is returned instead."""
    Contractor.objects.select_for_update(no_key=True).get(pk=contractor.pk)  # two who ask at once get one search
    searched = PlanRun.objects.filter(state__in=(RunState.WAITING, RunState.RUNNING), branch=branch)
    running = searched.order_by("asked_at").last()
    if running is not None:
        return running
    name = by if isinstance(by, str) else by.person.name
    run = PlanRun.objects.create(branch=branch, asked_by=name, why=why[:160], seconds=max(2, min(seconds, 300)))
    audit_note(by, "plan asked", run, after={"why": why})
    wake(contractor, run)
    return run


def run_claim(run_id: uuid.UUID, now: dt.datetime) -> PlanRun | None:
    """Take a waiting search; None when somebody else has it, or it is over."""
    taken = PlanRun.objects.filter(pk=run_id, state=RunState.WAITING, cancel_asked=False).update(
        state=RunState.RUNNING, claimed_at=now, beat_at=now, attempts=F("attempts") + 1
    )
    return PlanRun.objects.get(pk=run_id) if taken == 1 else None


def run_cancel(run: PlanRun, *, by: Membership | str) -> None:
    """Stop searching; the best plan so far is kept."""
    waiting = PlanRun.objects.filter(pk=run.pk, state=RunState.WAITING).update(
        state=RunState.CANCELLED, cancel_asked=True
    )
    if not waiting:
        PlanRun.objects.filter(pk=run.pk, state=RunState.RUNNING).update(cancel_asked=True)
    audit_note(by, "plan search stopped", run)


def runs_sweep(contractor: Contractor) -> int:
    """Wake what was never started and what died; give up after three attempts."""
    now = clock.now()
    silent = now - dt.timedelta(seconds=SILENT_S)
    ahead = now + dt.timedelta(seconds=SILENT_S)  # a beat of the future: the clock was put back since
    died = PlanRun.objects.filter(Q(beat_at__lt=silent) | Q(beat_at__gt=ahead), state=RunState.RUNNING)
    died.filter(attempts__gte=MAX_ATTEMPTS).update(
        state=RunState.FAILED, problem_text="The search died three times; the operator of the service was told."
    )
    died.filter(cancel_asked=True).update(state=RunState.CANCELLED)
    died.update(state=RunState.WAITING)
    young = Q(asked_at__gt=now - dt.timedelta(seconds=15), asked_at__lt=ahead)
    waiting = PlanRun.objects.filter(state=RunState.WAITING).exclude(young)
    for run in waiting:
        wake(contractor, run)
    return len(waiting)


def wake(contractor: Contractor, run: PlanRun) -> None:
    """Send the message that wakes a worker, after the commit; by name, since a task imports its service."""
    task_wake("scheduling.plan_search", str(contractor.pk), str(run.pk), queue="plan")
