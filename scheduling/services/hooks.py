"""Addresses of other systems that are told of issued plans and fills. The row of a call is written with its event."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any, Final

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from jobs.models import Job, JobState
from scheduling.adapters.hook_call import HookRefused, url_parts
from scheduling.models import FILL, Hook, HookCall, HookEvent, Plan, Stage, Stint
from scheduling.services.notices import Move
from shared import clock
from shared.ids import uuid7
from shared.keys import present_mark
from shared.models import Contractor, Membership
from shared.services.audit import audit_note
from shared.tenancy.context import current_contractor_id
from shared.waking import task_wake

MOST_HOOKS: Final = 10
CHOSEN: Final = tuple(event for event in HookEvent if event != HookEvent.TEST)


@transaction.atomic
def hook_make(url: str, events: Iterable[str], *, by: Membership) -> Hook:
    """A new address; its secret is `hook.secret`, to be shown now and never again."""
    hook = Hook(url=url_checked(url), events=events_checked(events), made_by=by.person.name)
    Contractor.objects.select_for_update(no_key=True).get(pk=by.contractor_id)
    if Hook.objects.filter(active=True).count() >= MOST_HOOKS:
        raise ValidationError(_("There are %(most)d addresses already; end one first.") % {"most": MOST_HOOKS})
    hook.save()
    audit_note(by, "hook made", hook, after={"url": hook.url, "events": hook.events})
    return hook


def url_checked(url: str) -> str:
    try:
        return url_parts(url, anywhere=settings.HOOKS_ANYWHERE).geturl()[:400]
    except HookRefused as refused:
        raise ValidationError({"url": str(refused)}) from refused


def events_checked(events: Iterable[str]) -> list[str]:
    chosen = [event.value for event in CHOSEN if event.value in set(events)]
    if not chosen:
        raise ValidationError({"events": _("Choose at least one event.")})
    return chosen


@transaction.atomic
def hook_renew(hook: Hook, *, by: Membership) -> Hook:
    """A new secret; calls that wait are signed with it, the old one signs nothing any more."""
    hook.generation, hook.key_mark = hook.generation + 1, present_mark()
    hook.save(update_fields=["generation", "key_mark"])
    audit_note(by, "hook secret renewed", hook, after={"generation": hook.generation})
    return hook


@transaction.atomic
def hook_end(hook: Hook, *, by: Membership | str) -> None:
    hook.active = False
    hook.save(update_fields=["active"])
    audit_note(by, "hook ended", hook)


def hook_test(hook: Hook, *, by: Membership) -> HookCall:
    """A call without an event, to try the other side."""
    said = {"by": by.person.name}
    call = _calls([hook], HookEvent.TEST, str(uuid7()), said)[0]
    call.save()
    wake(by.contractor)
    return call


def _calls(hooks: Iterable[Hook], event: str, cause: str, data: Mapping[str, Any]) -> list[HookCall]:
    now, rows = clock.now(), []
    for hook in hooks:
        call = HookCall(id=uuid7(), contractor_id=current_contractor_id(), hook=hook, event=event, cause=cause[:120])
        call.made_at = call.next_try_at = now
        said = {"id": str(call.pk), "event": event, "at": now.isoformat(timespec="seconds"), "data": data}
        call.body = json.dumps(said, ensure_ascii=False, sort_keys=True)
        rows.append(call)
    return rows


def event_tell(contractor: Contractor, event: str, told: Iterable[tuple[str, Mapping[str, Any]]]) -> int:
    """(cause, data) of events to every address that wants them, once each; in the transaction of what happened."""
    hooks = list(Hook.objects.filter(active=True, events__contains=[event]))
    if not hooks:
        return 0
    rows = [row for cause, data in told for row in _calls(hooks, event, cause, data)]
    kept = set(
        HookCall.objects.filter(event=event, cause__in={row.cause for row in rows}).values_list("hook_id", "cause")
    )
    new = [row for row in rows if (row.hook_id, row.cause) not in kept]
    HookCall.objects.bulk_create(new, ignore_conflicts=True)
    if new:
        wake(contractor)
    return len(new)


def plan_tell(contractor: Contractor, plan: Plan) -> None:
    """A plan was issued: its version, branch and when each job is full by it."""
    ends = Stint.objects.filter(plan=plan, stage=Stage.FILL_END).select_related("job__site").order_by("job__number")
    data = {
        "version": plan.version,
        "branch": plan.branch,
        "issued_at": plan.issued_at.isoformat(timespec="seconds") if plan.issued_at else None,
        "fill_days": [
            {**_job(stint.job), "full_on": stint.starts.astimezone(stint.job.site.tz).date().isoformat()}
            for stint in ends
        ],
    }
    event_tell(contractor, HookEvent.PLAN_ISSUED, [(str(plan.pk), data)])


def fills_tell(contractor: Contractor, jobs: Iterable[Job], moves: Iterable[Move]) -> None:
    """What the calendars just learned of fills: moved, begun, ended. Old news are told to no new address."""
    hooks = Hook.objects.filter(active=True)
    if not hooks.exists():
        return
    moved = [move for move in moves if move.entry.key == FILL and move.noticeable]
    event_tell(
        contractor,
        HookEvent.FILL_MOVED,
        [
            (f"{m.entry.pk} {m.entry.sequence}", {**_job(m.job), "from": str(m.old_day), "to": str(m.entry.day)})
            for m in moved
        ],
    )
    now = clock.now()
    listed = list(jobs)
    begun = {
        stint.job_id: stint.begun_at
        for stint in Stint.objects.filter(
            job__in=[job for job in listed if job.state == JobState.FILLING], stage=Stage.FILL_START
        )
        if stint.begun_at is not None and (now - stint.begun_at).days < 2
    }
    event_tell(
        contractor,
        HookEvent.FILL_BEGUN,
        [
            (f"{job.pk}", {**_job(job), "begun_at": begun[job.pk].isoformat(timespec="seconds")})
            for job in listed
            if job.pk in begun
        ],
    )
    full = [
        job
        for job in listed
        if job.state == JobState.FIRST_MONTH
        and job.filled_on is not None
        and (now.astimezone(job.site.tz).date() - job.filled_on).days < 2
    ]
    event_tell(
        contractor, HookEvent.FILL_ENDED, [(f"{job.pk}", {**_job(job), "full_on": str(job.filled_on)}) for job in full]
    )


def _job(job: Job) -> dict[str, Any]:
    """Which job, without names, addresses and telephone numbers."""
    return {"job": str(job.pk), "number": job.number, "site": job.site.label, "zone": job.site.zone}


def wake(contractor: Contractor) -> None:
    task_wake("scheduling.hook_calls", str(contractor.pk), queue="notices")
