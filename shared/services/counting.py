"""Counts of what may not happen too often, on the cache; in this process's memory while the cache is away.

Without the cache each web process counts for itself: a limit then holds a process, not an installation, which is
looser and never open. After a failure the cache is left alone for some seconds, so that a request does not wait for
a dead server again and again.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from typing import Any, Final, TypeVar

import structlog
from django.core.cache import BaseCache, cache
from django.core.cache.backends.locmem import LocMemCache
from redis.exceptions import RedisError

T = TypeVar("T")
LEFT_ALONE_S: Final = 5.0
_own: Final = LocMemCache("counts of this process", {"OPTIONS": {"MAX_ENTRIES": 20_000}})

log = structlog.stdlib.get_logger(__name__)


class _Away:
    until = 0.0


def count(key: str, seconds: int) -> int:
    """One more; the count began at most *seconds* ago."""
    return _asked(lambda store: _one_more(store, key, seconds))


def counts(keys: Iterable[str]) -> dict[str, int]:
    """The counts as they stand; what was never counted is left out."""
    listed = list(keys)
    found: dict[str, Any] = _asked(lambda store: store.get_many(listed))
    return {key: int(value) for key, value in found.items()}


def forget(key: str) -> None:
    _own.delete(key)
    _asked(lambda store: store.delete(key))


def _one_more(store: BaseCache, key: str, seconds: int) -> int:
    store.add(key, 0, seconds)
    try:
        return int(store.incr(key))
    except ValueError:  # it ended between the two calls
        store.set(key, 1, seconds)
        return 1


def _asked(ask: Callable[[BaseCache], T]) -> T:
    if time.monotonic() >= _Away.until:
        try:
            return ask(cache)
        except (RedisError, OSError) as error:
            _Away.until = time.monotonic() + LEFT_ALONE_S
            log.warning("counting_without_cache", error=str(error))
    return ask(_own)
