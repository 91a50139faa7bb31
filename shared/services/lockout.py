"""After five failed logins an address, or twenty from one place, wait fifteen minutes. Counted on the cache.

While the cache is away each web process counts for itself: logins go on, and guessing stays slow.
"""

from __future__ import annotations

import hashlib
from typing import Final

from shared.services.counting import count, counts, forget

LIMIT_ADDRESS: Final = 5
LIMIT_PLACE: Final = 20
LIMIT_MAILS: Final = 3  # to one address in the same time
WAIT_S: Final = 15 * 60


def is_locked(email: str, place: str) -> bool:
    known = counts([_key("address", email), _key("place", place)])
    failed, failed_here = known.get(_key("address", email), 0), known.get(_key("place", place), 0)
    return failed >= LIMIT_ADDRESS or failed_here >= LIMIT_PLACE


def failure_note(email: str, place: str) -> None:
    for key in (_key("address", email), _key("place", place)):
        count(key, WAIT_S)


def mail_allowed(email: str, place: str) -> bool:
    """Whether one more mail may be sent to this address at the wish of this place; counts it."""
    return (
        count(_key("mail-to", email), WAIT_S) <= LIMIT_MAILS and count(_key("mail-from", place), WAIT_S) <= LIMIT_PLACE
    )


def success_note(email: str) -> None:
    forget(_key("address", email))


def _key(kind: str, value: str) -> str:
    return f"login:{kind}:{hashlib.sha256(value.strip().lower().encode()).hexdigest()}"
