"""The task queue. The row in the database is the work; a message only wakes a worker up."""

from __future__ import annotations

import os
from typing import Any

import structlog
from celery import Celery, Task, signals
from django.conf import settings
from django.db import transaction
from kombu.exceptions import OperationalError

from resurf import logs

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "resurf.settings")


log = structlog.stdlib.get_logger(__name__)


class WakingTask(Task):  # type: ignore[type-arg]  # generic in the stubs, not at run time
    """A task that a service sends after its commit; a broker that is away costs time, never an answer."""

    def delay_on_commit(self, *args: Any, **kwargs: Any) -> None:
        """Send after the commit; if the broker is away that is logged, and a sweep finds the row."""

        def send() -> None:
            try:
                self.delay(*args, **kwargs)
            except OperationalError as error:
                log.warning("message_not_sent", task=self.name, error=str(error))

        transaction.on_commit(send)


def queue_of_task(
    name: str, args: Any, kwargs: Any, options: Any, task: Task[Any, Any] | None = None, **_: Any
) -> str | None:
    """The queue that the task itself names: `@queued(name="weather.refresh", on_queue="weather")`."""
    return getattr(task, "on_queue", None)


app = Celery("resurf", task_cls=WakingTask)
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()


@signals.setup_logging.connect
def _log_as_the_web_does(**_: Any) -> None:
    logs.configure(settings.LOGGING)
