"""Tokens of the API: made by a member for one program, shown once, kept as a hash."""

from __future__ import annotations

import datetime as dt
import secrets
from typing import Final

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from shared import clock
from shared.models import AccessToken, Membership, TokenKind, token_hash
from shared.scopes import scopes_of
from shared.services.audit import audit_note
from shared.services.tokens import token_revoke
from shared.tenancy.context import current_contractor_id

PREFIX: Final = "rs1_"  # so that a token that slipped into a file can be recognised
LONGEST: Final = dt.timedelta(days=366)


@transaction.atomic
def api_token_make(
    member: Membership, *, name: str, scope: str, expires_at: dt.datetime, origin: str = ""
) -> tuple[AccessToken, str]:
    """A new token of this member with its secret, which nobody can be shown again.

    Raises
    ------
    ValidationError
        For a scope beyond the member's role, no name, or an end that is past or more than a year away.
    """
    name = name.strip()
    now = clock.now()
    if scope not in scopes_of(member.role):
        allowed = ", ".join(scopes_of(member.role))
        raise ValidationError(
            {"scope": _("Scope is “%(value)s”; allowed here: %(allowed)s.") % {"value": scope, "allowed": allowed}}
        )
    if not 1 <= len(name) <= 80:
        raise ValidationError({"name": _("Say in 1 to 80 characters what the token is for.")})
    if not now < expires_at <= now + LONGEST:
        raise ValidationError({"expires_at": _("A token ends after now and within a year.")})
    secret = PREFIX + secrets.token_urlsafe(32)
    token = AccessToken.objects.create(
        contractor_id=current_contractor_id(),
        kind=TokenKind.API,
        purpose=scope,
        subject_id=member.pk,
        note={"name": name},
        token_hash=token_hash(secret),
        made_by=member.person.name,
        expires_at=expires_at,
    )
    audit_note(member, "API token made", token, after={"name": name, "scope": scope}, origin=origin)
    return token, secret


@transaction.atomic
def api_token_revoke(token: AccessToken, *, by: Membership) -> None:
    """It opens nothing from now on."""
    if token.revoked_at is None:
        token_revoke(token)
        audit_note(by, "API token revoked", token, before={"name": token.note.get("name", "")})


@transaction.atomic
def api_tokens_end(member: Membership, *, by: Membership) -> None:
    """A membership that ended, or whose role changed, leaves no token behind."""
    for token in AccessToken.objects.filter(kind=TokenKind.API, subject_id=member.pk, revoked_at=None):
        api_token_revoke(token, by=by)
