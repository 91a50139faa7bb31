"""What lies in the queues of the test's own broker: messages are taken out and read, no worker runs."""

from __future__ import annotations

from queue import Empty

from celery import current_app
from django.conf import settings

EXPECTED_DATES = "scheduling.expected_dates"


def taken(queue: str) -> list[tuple[str, list[object]]]:
    """(task, arguments) of every waiting message of a queue, which is empty afterwards."""
    declared = next(each for each in settings.CELERY_TASK_QUEUES if each.name == queue)
    found = []
    with current_app.connection_for_read() as connection, connection.SimpleQueue(declared) as waiting:
        while True:
            try:
                message = waiting.get(block=False)
            except Empty:
                return found
            found.append((message.headers["task"], list(message.payload[0])))
            message.ack()


def dates_asked_for() -> list[object]:
    """Contractors whose expected dates were asked for."""
    return [arguments[0] for task, arguments in taken("weather") if task == EXPECTED_DATES]
