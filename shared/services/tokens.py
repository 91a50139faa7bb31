from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.db.models import Q

from shared import clock
from shared.models import AccessToken, TokenKind, token_hash
from shared.tenancy.context import current_contractor_id


def token_make(
    kind: TokenKind,
    purpose: str,
    *,
    subject_id: uuid.UUID | None = None,
    made_by: str = "",
    expires_at: dt.datetime | None = None,
    note: dict[str, Any] | None = None,
) -> AccessToken:
    """A new secret for one purpose; its text is `AccessToken.secret`."""
    token = AccessToken(
        contractor_id=current_contractor_id(),
        kind=kind,
        purpose=purpose,
        subject_id=subject_id,
        made_by=made_by,
        expires_at=expires_at,
        note=note or {},
    )
    token.token_hash = token_hash(token.secret)
    token.save()
    return token


def token_for(kind: TokenKind, purpose: str, subject_id: uuid.UUID | None = None, made_by: str = "") -> AccessToken:
    """The living secret of this purpose and subject, made where there is none, it has expired, or nobody can see it.

    A link whose key was given up goes on opening for who has it; the office gets a new one beside it.
    """
    living = (
        AccessToken.objects.filter(kind=kind, purpose=purpose, subject_id=subject_id, revoked_at=None)
        .exclude(expires_at__lte=clock.now())
        .order_by("-created_at", "-pk")
    )
    found = next((token for token in living if token.can_be_shown), None)
    return found or token_make(kind, purpose, subject_id=subject_id, made_by=made_by)


def token_rotate(token: AccessToken) -> AccessToken:
    """A new secret in place of the old one, which opens nothing from now on."""
    token.generation += 1
    token.token_hash = token_hash(token.secret)
    token.last_used_at = None
    token.save(update_fields=["generation", "token_hash", "last_used_at"])
    return token


def tokens_expire(subject_id: uuid.UUID, purpose: str, at: dt.datetime) -> int:
    """Let the living secrets of a subject end at a moment, sooner than they would; returns how many."""
    living = AccessToken.objects.filter(subject_id=subject_id, purpose=purpose, revoked_at=None)
    return living.filter(Q(expires_at=None) | Q(expires_at__gt=at)).update(expires_at=at)


def token_revoke(token: AccessToken) -> None:
    token.revoked_at = clock.now()
    token.save(update_fields=["revoked_at"])
