"""Ask for expected dates to be computed again: something they depend on has changed."""

from __future__ import annotations

from functools import partial

from celery import current_app
from django.db import transaction

from shared.models import Contractor

TASK = "scheduling.expected_dates"
QUEUE = "weather"


def dates_ask(contractor: Contractor) -> None:
    """Wake a worker after the commit, by the task's name, since it belongs to scheduling; a lost call only waits."""
    send = partial(current_app.send_task, TASK, args=[str(contractor.pk)], queue=QUEUE)
    transaction.on_commit(send, robust=True)
