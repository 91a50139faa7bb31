"""Messages that wake a worker after a commit, by the task's name: a task imports its service, not the other way."""

from __future__ import annotations

import structlog
from celery import current_app
from django.db import transaction
from kombu.exceptions import OperationalError

log = structlog.stdlib.get_logger(__name__)


def task_wake(name: str, *ids: str, queue: str) -> None:
    """Send it after the commit; a broker that is away costs time, never an answer: a sweep finds the row."""

    def send() -> None:  # a function of its own: where a robust one fails, Django asks for its name
        try:
            current_app.send_task(name, args=list(ids), queue=queue)
        except (OperationalError, OSError) as error:
            log.warning("message_not_sent", task=name, error=str(error))

    transaction.on_commit(send, robust=True)
