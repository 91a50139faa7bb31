"""The installation's keys: the one in use, and older ones that still count while something follows from them.

Links, hooks and second factors are not stored but follow from their row and a key (SECRET_KEY). A row says by a mark
which key that was, or a stored hash tells. SECRET_KEY_FALLBACKS holds the keys of before, newest first.
"""

from __future__ import annotations

import hashlib
import hmac
from typing import Final

from django.conf import settings

MARK_CHARACTERS: Final = 12


def installation_keys() -> list[bytes]:
    """The key in use, then those of before."""
    return [_bytes(key) for key in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS)]


def key_mark(key: bytes) -> str:
    """A name of the key that tells nothing of it."""
    return hmac.new(key, b"mark of the key", hashlib.sha256).hexdigest()[:MARK_CHARACTERS]


def present_mark() -> str:
    """The mark of the key in use."""
    return key_mark(installation_keys()[0])


def key_marked(mark: str) -> bytes:
    """The key of this mark; without a mark the oldest one, which was there before marks were written.

    A mark that no key has is that of a key which was given up: what follows from it is made anew with the key in use.
    """
    keys = installation_keys()
    if not mark:
        return keys[-1]
    return next((key for key in keys if key_mark(key) == mark), keys[0])


def _bytes(key: str | bytes) -> bytes:
    return key.encode() if isinstance(key, str) else key
