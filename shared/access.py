"""First line of every view: who may enter. Absent and not-yours are both 404; a wrong role is 403."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TypeVar

from django.conf import settings
from django.core.exceptions import ObjectDoesNotExist, PermissionDenied, ValidationError
from django.db import connection, models
from django.http import Http404, HttpRequest

from shared import clock
from shared.models import AccessToken, Firm, Membership, Role, TokenKind, token_hash
from shared.tenancy.context import acting_for

M = TypeVar("M", bound=models.Model)


class LoginNeeded(Exception):
    """Nobody is logged in; the middleware sends the visitor to the login page and back."""


class NoFirm(Exception):
    """Logged in, but in no firm (any more)."""


class PasswordNeeded(Exception):
    """What changes how somebody gets in asks for the password again, however the session began."""


class SecondFactorNeeded(Exception):
    """A manager of a firm that asks managers for a second factor, logged in without one."""


def member(request: HttpRequest) -> Membership:
    """Any member of the active firm; a manager with a second factor where the firm asks for one."""
    found = member_before_second_factor(request)
    without = found.is_manager and not request.session.get("second_factor")
    if without and Firm.objects.filter(second_factor=True).exists():
        raise SecondFactorNeeded
    return found


def member_before_second_factor(request: HttpRequest) -> Membership:
    if not request.user.is_authenticated:
        raise LoginNeeded
    found: Membership | None = getattr(request, "member", None)
    if found is None:
        raise NoFirm
    return found


def office(request: HttpRequest) -> Membership:
    """Office or manager."""
    return _with_role(request, lambda who: who.is_office)


def manager(request: HttpRequest) -> Membership:
    return _with_role(request, lambda who: who.is_manager)


def crew_or_office(request: HttpRequest) -> Membership:
    return _with_role(request, lambda who: who.role in Role.values)


def _with_role(request: HttpRequest, allowed: Callable[[Membership], bool]) -> Membership:
    who = member(request)
    if not allowed(who):
        raise PermissionDenied
    return who


def place_of(request: HttpRequest) -> str:
    """The address a request comes from; behind the proxy the one that the proxy itself saw, the last of the list."""
    if settings.BEHIND_PROXY:
        seen = request.headers.get("X-Forwarded-For", "").rpartition(",")[2].strip()
        if seen:
            return seen
    return str(request.META.get("REMOTE_ADDR", ""))


def own(model: type[M], pk: uuid.UUID | str, *related: str) -> M:
    """The row of the active contractor, or 404."""
    rows = model._default_manager.all()
    try:
        return (rows.select_related(*related) if related else rows).get(pk=pk)
    except (ObjectDoesNotExist, ValidationError, ValueError) as absent:
        raise Http404 from absent


@contextmanager
def opened_by(kind: TokenKind, secret: str, *purposes: str) -> Iterator[AccessToken]:
    """Act for the contractor of a private link or feed; 404 for unknown, revoked or expired ones alike."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT contractor_id, token_id FROM resurf_token(%s, %s)", [kind.value, token_hash(secret)])
        row = cursor.fetchone()
    if row is None:
        raise Http404
    with acting_for(row[0]):
        token = AccessToken.objects.select_related("contractor").get(pk=row[1])
        now = clock.now()
        gone = token.revoked_at is not None or (token.expires_at is not None and token.expires_at <= now)
        if gone or token.purpose not in purposes:
            raise Http404
        yield token
