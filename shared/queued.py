"""Tasks of the service: each has a name and the one queue that it waits in."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from celery import shared_task


def queued(*, name: str, on_queue: str, expires: float | None = None) -> Callable[[Callable[..., Any]], Any]:
    """Celery's `shared_task`; `resurf.celery` reads `on_queue`; a message dies after `expires` [s]."""
    options = {} if expires is None else {"expires": expires}
    found: Callable[[Callable[..., Any]], Any] = shared_task(name=name, on_queue=on_queue, **options)  # type: ignore[call-overload]  # options of our own are not in the stubs
    return found
