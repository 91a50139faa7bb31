"""The task queue. The row in the database is the work; a message only wakes a worker up."""

from __future__ import annotations

import os
from functools import partial
from typing import Any

from celery import Celery, Task, signals
from django.conf import settings
from django.db import transaction

from resurf import logs

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "resurf.settings")


class WakingTask(Task):  # type: ignore[type-arg]
    """A task that a service sends after its commit; a broker that is away costs time, never an answer."""

    def delay_on_commit(self, *args: Any, **kwargs: Any) -> None:
        """Send after the commit; if the broker is away the failure is logged and a sweep finds the row."""
        transaction.on_commit(partial(self.delay, *args, **kwargs), robust=True)


app = Celery("resurf", task_cls=WakingTask)
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()


@signals.setup_logging.connect
def _log_as_the_web_does(**_: Any) -> None:
    logs.configure(settings.LOGGING)
