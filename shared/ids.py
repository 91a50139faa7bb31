"""Identifiers that sort by the time they were made (UUID version 7, RFC 9562 section 5.7)."""

from __future__ import annotations

import secrets
import time
import uuid


def uuid7() -> uuid.UUID:
    """48 bits of Unix milliseconds, then 74 random bits."""
    milliseconds = time.time_ns() // 1_000_000
    value = (milliseconds & ((1 << 48) - 1)) << 80
    value |= 0x7 << 76
    value |= secrets.randbits(12) << 64
    value |= 0b10 << 62
    value |= secrets.randbits(62)
    return uuid.UUID(int=value)
