"""How often each route was asked and how long it took, summed over all web processes in one hash of the cache server.

Labels are the route's name, the method and the class of the status: names of the program, never of a firm or a row.
"""

from __future__ import annotations

import threading
import time
from bisect import bisect_left
from collections import Counter, defaultdict
from collections.abc import Iterator
from functools import lru_cache
from typing import Any, Final

from django.conf import settings
from prometheus_client.core import HistogramMetricFamily
from redis import Redis
from redis.exceptions import RedisError

TIMES: Final = "measures:routes"
FLUSH_S: Final = 5.0
BOUNDS_S: Final = (0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, float("inf"))
METHODS: Final = {"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"}
SUM: Final = "sum"
APART: Final = "|"


class RouteTimes:
    """Counts in this process, added to the hash every few seconds; what could not be added is kept for later."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.counts: Counter[str] = Counter()
        self.sums: defaultdict[str, float] = defaultdict(float)
        self.flushed = time.monotonic()

    def note(self, route: str, method: str | None, status: int, seconds: float) -> None:
        """One answer of a named route; whatever has no name is "none"."""
        known = method if method in METHODS else "other"
        name = APART.join((route or "none", known, f"{status // 100}xx"))
        with self.lock:
            self.counts[f"{name}{APART}{bisect_left(BOUNDS_S, seconds)}"] += 1
            self.sums[f"{name}{APART}{SUM}"] += seconds
            due = time.monotonic() - self.flushed >= FLUSH_S
        if due:
            self.flush()

    def flush(self) -> None:
        with self.lock:
            counts, sums = self.counts, self.sums
            self.counts, self.sums, self.flushed = Counter(), defaultdict(float), time.monotonic()
        if not counts:
            return
        try:
            with server().pipeline() as pipe:
                for name, count in counts.items():
                    pipe.hincrby(TIMES, name, count)
                for name, seconds in sums.items():
                    pipe.hincrbyfloat(TIMES, name, seconds)
                pipe.execute()
        except (RedisError, OSError):
            with self.lock:
                self.counts.update(counts)
                for name, seconds in sums.items():
                    self.sums[name] += seconds


route_times: Final = RouteTimes()


def server() -> Redis:
    return _server(str(settings.CACHES["default"]["LOCATION"]))


@lru_cache(maxsize=4)
def _server(location: str) -> Redis:
    return Redis.from_url(location, socket_connect_timeout=2, socket_timeout=5)


def histograms() -> Iterator[Any]:
    """The hash as Prometheus reads it; nothing while the cache is away."""
    try:
        kept: dict[bytes, bytes] = server().hgetall(TIMES)  # type: ignore[assignment]  # redis types both of its clients
    except (RedisError, OSError):
        return
    steps: defaultdict[tuple[str, ...], list[int]] = defaultdict(lambda: [0] * len(BOUNDS_S))
    sums: dict[tuple[str, ...], float] = {}
    for field, value in kept.items():
        *labels, what = field.decode().split(APART)
        if what == SUM:
            sums[tuple(labels)] = float(value)
        else:
            steps[tuple(labels)][int(what)] += int(value)
    family = HistogramMetricFamily(
        "resurf_request_seconds", "Time to answer, by route.", labels=["route", "method", "status"]
    )
    for labels_of, counts in sorted(steps.items()):
        total, buckets = 0, []
        for bound, count in zip(BOUNDS_S, counts, strict=True):
            total += count
            buckets.append(("+Inf" if bound == float("inf") else str(bound), float(total)))
        family.add_metric(list(labels_of), buckets=buckets, sum_value=sums.get(labels_of, 0.0))
    yield family
