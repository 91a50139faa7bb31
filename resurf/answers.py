"""How many requests were answered with which status, by kind of address; no label names a firm or a row."""

from __future__ import annotations

import threading
import time
from collections import Counter
from typing import Final

from django.core.cache import cache
from redis.exceptions import RedisError

ANSWERS: Final = "measures:answers"
FLUSH_S: Final = 5.0
KINDS: Final = {"api/": "api", "feeds/": "feed", "pool/": "pool_owner"}


class Answers:
    """Counts answers by kind and status in this process, and adds them to the cache every few seconds."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.counts: Counter[str] = Counter()
        self.flushed = time.monotonic()

    def note(self, route: str | None, status: int) -> None:
        kind = next((kind for start, kind in KINDS.items() if (route or "").startswith(start)), "screen")
        with self.lock:
            self.counts[f"{kind}:{status}"] += 1
            if time.monotonic() - self.flushed < FLUSH_S:
                return
            counts, self.counts, self.flushed = self.counts, Counter(), time.monotonic()
        self._add(counts)

    def flush(self) -> None:
        with self.lock:
            counts, self.counts, self.flushed = self.counts, Counter(), time.monotonic()
        self._add(counts)

    def _add(self, counts: Counter[str]) -> None:
        try:
            for name, count in counts.items():
                key = f"{ANSWERS}:{name}"
                cache.add(key, 0, None)
                cache.incr(key, count)
        except (RedisError, OSError, ValueError):
            with self.lock:
                self.counts.update(counts)


answers: Final = Answers()
