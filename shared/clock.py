"""What time it is. Tests and the demonstration may stand at another moment; nothing else reads the clock."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from django.utils import timezone

_standing: ContextVar[dt.datetime | None] = ContextVar("standing", default=None)


def now() -> dt.datetime:
    """The present instant, aware, UTC."""
    return _standing.get() or timezone.now()


@contextmanager
def clock_at(instant: dt.datetime) -> Iterator[None]:
    """Everything inside happens at this instant."""
    token = _standing.set(instant)
    try:
        yield
    finally:
        _standing.reset(token)
