"""After five failed logins an address, or twenty from one place, wait fifteen minutes. Counted on the cache."""

from __future__ import annotations

import hashlib
from typing import Final

from django.core.cache import cache

LIMIT_ADDRESS: Final = 5
LIMIT_PLACE: Final = 20
LIMIT_MAILS: Final = 3  # to one address in the same time
WAIT_S: Final = 15 * 60


def is_locked(email: str, place: str) -> bool:
    counts = cache.get_many([_key("address", email), _key("place", place)])
    failed, failed_here = (int(counts.get(key, 0)) for key in (_key("address", email), _key("place", place)))
    return failed >= LIMIT_ADDRESS or failed_here >= LIMIT_PLACE


def failure_note(email: str, place: str) -> None:
    for key in (_key("address", email), _key("place", place)):
        _count(key)


def mail_allowed(email: str, place: str) -> bool:
    """Whether one more mail may be sent to this address at the wish of this place; counts it."""
    return _count(_key("mail-to", email)) <= LIMIT_MAILS and _count(_key("mail-from", place)) <= LIMIT_PLACE


def _count(key: str) -> int:
    cache.add(key, 0, WAIT_S)
    try:
        return int(cache.incr(key))
    except ValueError:  # it ended between the two calls
        cache.set(key, 1, WAIT_S)
        return 1


def success_note(email: str) -> None:
    cache.delete(_key("address", email))


def _key(kind: str, value: str) -> str:
    return f"login:{kind}:{hashlib.sha256(value.strip().lower().encode()).hexdigest()}"
