"""How many requests a token or a place may send a minute. Counted on the cache; while that is away, here."""

from __future__ import annotations

import hashlib
import threading
import time
from collections import Counter
from typing import Any, Final

from django.conf import settings
from django.core.cache import cache
from redis.exceptions import RedisError
from rest_framework.exceptions import Throttled
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from shared.access import place_of

MINUTE_S: Final = 60


class Local:
    """Counts of this process alone."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.minute = 0
        self.counts: Counter[str] = Counter()

    def add(self, key: str, minute: int) -> int:
        with self.lock:
            if minute != self.minute:
                self.minute, self.counts = minute, Counter()
            self.counts[key] += 1
            return self.counts[key]


_local: Final = Local()


def count(key: str) -> int:
    """One more of this key in this minute; returns how many there were."""
    minute = int(time.time()) // MINUTE_S
    name = f"api:{minute}:{key}"
    try:
        cache.add(name, 0, 2 * MINUTE_S)
        return int(cache.incr(name))
    except (RedisError, OSError):
        return _local.add(key, minute)
    except ValueError:  # it ended between the two calls
        return 1


class TokenRate(BaseThrottle):
    """Reads and changes are counted apart."""

    def allow_request(self, request: Request, view: Any) -> bool:
        kind = "read" if request.method in ("GET", "HEAD") else "write"
        most: int = settings.API_A_MINUTE[kind]
        return count(f"{kind}:{request.auth.pk}") <= most

    def wait(self) -> float:
        return MINUTE_S - time.time() % MINUTE_S + 1


def stranger(request: Request) -> None:
    """A wrong token counts against the place that it comes from."""
    place = hashlib.sha256(place_of(request._request).encode()).hexdigest()[:24]
    if count(f"stranger:{place}") > settings.API_A_MINUTE["stranger"]:
        raise Throttled(wait=MINUTE_S - time.time() % MINUTE_S + 1)
