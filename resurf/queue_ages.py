"""How long the oldest message of each queue has waited, by the time that stands in the message itself."""

from __future__ import annotations

import json
import time
from typing import Any, Final

from amqp.exceptions import ChannelError
from celery import current_app, signals

from resurf import heartbeat

SENT_AT: Final = "sent_at"  # header of a task's message, seconds since 1970


@signals.before_task_publish.connect
def _say_when(headers: dict[str, Any] | None = None, **_: Any) -> None:
    if headers is not None:
        headers.setdefault(SENT_AT, time.time())


def queues_now() -> tuple[dict[str, float], dict[str, float]]:
    """({queue: messages that no worker has taken}, {queue: age of the oldest of them [s]}; none where none waits)."""
    lengths: dict[str, float] = {}
    ages: dict[str, float] = {}
    with current_app.connection_for_read() as broker:
        channel: Any = broker.default_channel
        for name in heartbeat.queues():
            try:
                lengths[name] = float(channel.queue_declare(name, passive=True).message_count)
            except ChannelError:  # no message was ever sent there
                lengths[name] = 0.0
            sent = [at for step in channel.priority_steps if (at := _sent_at(channel, name, step)) is not None]
            if sent:
                ages[name] = max(0.0, time.time() - min(sent))
    return lengths, ages


def _sent_at(channel: Any, queue: str, step: int) -> float | None:
    """Workers take from the right: there the oldest message is."""
    raw = channel.client.lindex(channel._q_for_pri(queue, step), -1)
    try:
        return None if raw is None else float(json.loads(raw)["headers"][SENT_AT])
    except (KeyError, TypeError, ValueError):  # sent by code that knew nothing of it
        return None
