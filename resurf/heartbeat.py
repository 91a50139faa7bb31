"""Signs of life in the cache: each queue that a worker serves, and beat (through a task that a worker ran)."""

from __future__ import annotations

import logging
import time
from typing import Any

from celery import signals
from django.conf import settings
from django.core.cache import cache
from redis.exceptions import RedisError

from shared.queued import queued

BEAT = "beat"
LATE_AFTER_S = 90.0
SIGN_EVERY_S = 10.0

logger = logging.getLogger(__name__)


def sign_of_life(name: str) -> None:
    cache.set(_key(name), time.time(), timeout=10 * LATE_AFTER_S)


def forget() -> None:
    """Drop the signs of processes that are known to be gone."""
    cache.delete_many([_key(name) for name in [*map(queue_sign, queues()), BEAT]])


def ages_s(names: list[str]) -> dict[str, float | None]:
    """Seconds since each last gave a sign of life; None if it never did (or long ago)."""
    signs = cache.get_many([_key(name) for name in names])
    now = time.time()
    return {name: now - signs[_key(name)] if _key(name) in signs else None for name in names}


def in_time(age_s: float | None) -> bool:
    return age_s is not None and age_s < LATE_AFTER_S


def queue_sign(queue: str) -> str:
    return f"queue:{queue}"


@queued(name="resurf.heartbeat", on_queue="default", expires=LATE_AFTER_S)
def heartbeat_task() -> None:
    """Beat sent it and a worker ran it: both are alive."""
    sign_of_life(BEAT)


@signals.beat_init.connect
def _beat_began(**_: Any) -> None:
    heartbeat_task.delay()


class _WorkerSigns:
    """A worker's main process says which queues it serves, at the rate of its own heartbeat."""

    queues: list[str] = []
    last_sign_s = float("-inf")

    @classmethod
    def began(cls, sender: Any, **_: Any) -> None:
        cls.queues = list(sender.app.amqp.queues.consume_from)
        cls.again()

    @classmethod
    def again(cls, **_: Any) -> None:
        if not cls.queues or time.monotonic() - cls.last_sign_s < SIGN_EVERY_S:
            return
        try:
            for queue in cls.queues:
                sign_of_life(queue_sign(queue))
            cls.last_sign_s = time.monotonic()
        except RedisError as error:
            logger.warning("no sign of life written: %s", error)


signals.worker_ready.connect(_WorkerSigns.began)
signals.heartbeat_sent.connect(_WorkerSigns.again)


def queues() -> list[str]:
    return [queue.name for queue in settings.CELERY_TASK_QUEUES]


def _key(name: str) -> str:
    return f"sign-of-life:{name}"
