"""Is there anything to send for the active firm? Two short questions, asked every minute for every firm."""

from __future__ import annotations

import datetime as dt

from django.db.models import Q

from scheduling.models import HookCall, Mail, Notice, NoticeState
from shared.models import OutgoingState


def something_waits(now: dt.datetime) -> tuple[bool, bool]:
    """Mails (or notices that have to become mails), and calls of hooks."""
    due = Q(state=OutgoingState.WAITING, next_try_at__lte=now) | Q(
        state=OutgoingState.SENDING, claimed_until__lt=now
    )  # fmt: skip
    notices = Notice.objects.filter(state=NoticeState.WAITING, due_at__lte=now)
    return notices.exists() or Mail.objects.filter(due).exists(), HookCall.objects.filter(due).exists()
