"""`Authorization: Bearer <token>`; nothing else opens the API, a browser's session least of all."""

from __future__ import annotations

import datetime as dt
from typing import Any, Final

from django.db import connection
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from shared import clock
from shared.api.limits import stranger
from shared.models import AccessToken, Membership, Person, TokenKind, token_hash
from shared.scopes import RANK
from shared.security_log import token_refused
from shared.tenancy.context import acting_for

SEEN_EVERY: Final = dt.timedelta(minutes=5)


class BearerToken(BaseAuthentication):
    def authenticate(self, request: Request) -> tuple[Person, AccessToken] | None:
        scheme, _, secret = request.headers.get("Authorization", "").partition(" ")
        if scheme.lower() != "bearer" or not secret.strip():
            return None
        found = _opened(secret.strip())
        if found is None:
            token_refused()
            stranger(request)
            raise AuthenticationFailed("This token is unknown, revoked or has ended.")
        token, member = found
        token.member = member  # type: ignore[attr-defined]  # what we hang on a token
        return member.person, token

    def authenticate_header(self, request: Request) -> str:
        return 'Bearer realm="api"'


def _opened(secret: str) -> tuple[AccessToken, Membership] | None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT contractor_id, token_id FROM resurf_token(%s, %s)", [TokenKind.API, _hash(secret)])
        row = cursor.fetchone()
    if row is None:
        return None
    with acting_for(row[0]):
        token = AccessToken.objects.get(pk=row[1])
        now = clock.now()
        if token.revoked_at is not None or token.expires_at is None or token.expires_at <= now:
            return None
        member = (
            Membership.objects.select_related("person", "contractor").filter(pk=token.subject_id or token.pk).first()
        )
        if member is None or not member.active or not member.person.is_active or token.purpose not in RANK:
            return None
        if token.last_used_at is None or now - token.last_used_at > SEEN_EVERY:
            AccessToken.objects.filter(pk=token.pk).update(last_used_at=now)
        return token, member


def _hash(secret: str) -> str:
    return token_hash(secret) if secret.isascii() else ""


class BearerScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]  # untyped there
    target_class = BearerToken
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {"type": "http", "scheme": "bearer"}
