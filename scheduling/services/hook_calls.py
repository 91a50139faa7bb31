"""Calls of hooks: claimed, signed at the moment of sending, tried again with growing waits, given up after a day."""

from __future__ import annotations

import datetime as dt
import time
from typing import Final

from django.conf import settings

from scheduling.adapters.hook_call import HookNotReached, HookRefused, call
from scheduling.models import HookCall
from scheduling.services.hooks import hook_end
from shared import clock
from shared.models import Contractor, OutgoingState
from shared.services.outgoing import (
    outgoing_claim,
    outgoing_failed,
    outgoing_hand,
    outgoing_later,
    outgoing_sent,
    outgoing_sweep,
)
from shared.tenancy.context import acting_for

CHUNK: Final = 2  # what is claimed together must be over within the lease, however slow the other side is
MOST_ATTEMPTS: Final = 16  # over about a day
MOST_SECONDS: Final = 300.0


def calls_send(contractor: Contractor) -> int:
    """Make every call whose time has come; returns how many were taken."""
    began, taken = time.monotonic(), 0
    lease = dt.timedelta(seconds=settings.OUTGOING_LEASE_S)
    while time.monotonic() - began < MOST_SECONDS:
        with acting_for(contractor.pk):
            outgoing_sweep(HookCall.objects.all())
            calls = outgoing_claim(HookCall.objects.all(), most=CHUNK, lease=lease)
        if not calls:
            break
        taken += sum(_made(contractor, row, lease) for row in calls)
    return taken


def _made(contractor: Contractor, row: HookCall, lease: dt.timedelta) -> bool:
    with acting_for(contractor.pk):
        found = HookCall.objects.select_related("hook").get(pk=row.pk)
        hook = found.hook
        if not hook.active:
            HookCall.objects.filter(pk=row.pk).update(
                state=OutgoingState.SKIPPED, done_at=clock.now(), answer="the address was ended"
            )
            return False
        if not outgoing_hand(row, lease=lease):
            return False
    try:
        answer = call(
            hook.url,
            secret=hook.secret,
            event_id=str(row.pk),
            body=found.body.encode(),
            now=int(clock.now().timestamp()),
            anywhere=settings.HOOKS_ANYWHERE,
        )
    except HookRefused as refused:
        with acting_for(contractor.pk):
            return not outgoing_failed(row, code=None, answer=str(refused))
    except HookNotReached as away:
        with acting_for(contractor.pk):
            outgoing_later(row, code=None, answer=str(away), most_attempts=MOST_ATTEMPTS)
        return False
    with acting_for(contractor.pk):
        if answer.taken:
            return outgoing_sent(row, code=answer.code, answer=answer.text)
        if answer.gone:
            outgoing_failed(row, code=answer.code, answer=answer.text)
            hook_end(hook, by="the receiver, by answering 410")
        else:
            outgoing_later(row, code=answer.code, answer=answer.text, most_attempts=MOST_ATTEMPTS)
    return False
