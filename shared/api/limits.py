"""How many requests a token or a place may send a minute. Counted on the cache; while that is away, by each process."""

from __future__ import annotations

import hashlib
import time
from typing import Any, Final

from django.conf import settings
from rest_framework.exceptions import Throttled
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from shared.access import place_of
from shared.services.counting import count as counted

MINUTE_S: Final = 60


def count(key: str) -> int:
    """One more of this key in this minute; returns how many there were."""
    return counted(f"api:{int(time.time()) // MINUTE_S}:{key}", 2 * MINUTE_S)


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
