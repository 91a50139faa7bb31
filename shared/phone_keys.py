"""The key under which a phone keeps what one member of one firm logged and has not sent.

It follows from the installation's key and is handed out to that member alone, so that what waits on a phone after the
log-out is closed to whoever picks the phone up, and opens again when the same person logs in. Older installation keys
(SECRET_KEY_FALLBACKS) still open what was locked under them.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
from dataclasses import dataclass
from typing import Final

from django.conf import settings

from shared.models import Membership

TAG_CHARACTERS: Final = 32


@dataclass(frozen=True)
class PhoneKey:
    """*owner* names the member without telling who it is; *key* is 256 bits, in base64."""

    owner: str
    key: str


def phone_keys(member: Membership) -> list[PhoneKey]:
    """The key in use, then those of older installation keys."""
    return [_derived(secret, member) for secret in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS)]


def phone_owner(member: Membership) -> str:
    """The name under which pages and entries of this member stand on a phone."""
    return phone_keys(member)[0].owner


def _derived(secret: str | bytes, member: Membership) -> PhoneKey:
    installation = secret.encode() if isinstance(secret, str) else secret
    subject = f"{member.person_id}:{member.contractor_id}"
    owner = hmac.new(installation, f"phone owner:{subject}".encode(), hashlib.sha256).hexdigest()
    key = hmac.new(installation, f"phone key:{subject}".encode(), hashlib.sha256).digest()
    return PhoneKey(owner[:TAG_CHARACTERS], base64.b64encode(key).decode())
