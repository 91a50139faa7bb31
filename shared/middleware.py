"""The scope of a request: the person, then the firm; and the headers that fence the browser."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from urllib.parse import urlencode

from django.contrib.auth import logout
from django.db import transaction
from django.http import (
    HttpRequest,
    HttpResponse,
    HttpResponseBase,
    HttpResponseNotAllowed,
    HttpResponseRedirect,
    JsonResponse,
)
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone, translation

from shared.access import LoginNeeded, NoFirm, PasswordNeeded, SecondFactorNeeded
from shared.models import Membership
from shared.phone_keys import phone_owner
from shared.security_log import session_over
from shared.session_rules import session_is_over
from shared.tenancy.context import acting_as, acting_for

Handler = Callable[[HttpRequest], HttpResponseBase]
METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")


class TenantMiddleware:
    """Opens one transaction a request for the person and the firm of the session; undone after a 5xx.

    Whoever is logged in reads their own language, whatever the browser prefers.
    """

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        request.member = None  # type: ignore[attr-defined]  # what we hang on a request
        request.memberships = []  # type: ignore[attr-defined]  # what we hang on a request
        if not request.user.is_authenticated:
            return self.get_response(request)
        with acting_as(request.user.pk), translation.override(request.user.language):
            memberships = list(
                Membership.of_person.filter(person_id=request.user.pk, active=True)
                .select_related("contractor")
                .order_by("contractor__name")
            )
            chosen = _chosen(memberships, request.session.get("contractor"))
            over = session_is_over(request, memberships, chosen)
            if not over:
                response = self._inside(request, memberships, chosen)
        if not over:
            request.session.note_seen()  # type: ignore[attr-defined]  # by itself: no other request of it waits
            return response
        session_over(request.user, over)
        logout(request)
        return self.get_response(request)

    def _inside(
        self, request: HttpRequest, memberships: list[Membership], chosen: Membership | None
    ) -> HttpResponseBase:
        request.memberships = memberships  # type: ignore[attr-defined]  # what we hang on a request
        request.member = chosen  # type: ignore[attr-defined]  # what we hang on a request
        if chosen is None:
            return self._answer(request)
        chosen.person = request.user  # type: ignore[assignment]  # another kind of the same
        request.phone_owner = phone_owner(chosen)  # type: ignore[attr-defined]  # what we hang on a request
        with acting_for(chosen.contractor_id), timezone.override(chosen.contractor.tz):
            return self._answer(request)

    def _answer(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        response.headers.setdefault("Cache-Control", "no-store")  # what a member sees stays in no cache
        response.headers.setdefault("Content-Language", translation.get_language() or "en")
        if response.status_code >= 500:
            transaction.set_rollback(True)
        return response

    def process_exception(self, request: HttpRequest, problem: Exception) -> HttpResponse | None:
        if isinstance(problem, LoginNeeded):
            answer = HttpResponseRedirect(f"{reverse('login')}?{urlencode({'next': request.get_full_path()})}")
            if request.headers.get("HX-Request"):
                answer = HttpResponse(status=204, headers={"HX-Redirect": answer.url})  # type: ignore[assignment]  # another kind of the same
            elif "application/json" in request.headers.get("Accept", ""):
                answer = JsonResponse({"outcome": "login", "login": answer.url}, status=401)  # type: ignore[assignment]  # another kind of the same
            return answer
        if isinstance(problem, SecondFactorNeeded):
            return HttpResponseRedirect(reverse("second-factor"))
        if isinstance(problem, PasswordNeeded):
            return HttpResponseRedirect(f"{reverse('confirm')}?{urlencode({'next': request.path})}")
        if isinstance(problem, NoFirm):
            return render(request, "shared/no_firm.html", status=403)
        return None


def _chosen(memberships: list[Membership], wanted: str | None) -> Membership | None:
    by_id = {str(found.contractor_id): found for found in memberships}
    return by_id.get(wanted or "") or (memberships[0] if memberships else None)


class SecurityHeaders:
    """Content-Security-Policy with a nonce, Permissions-Policy, Referrer-Policy."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        if request.method not in METHODS:
            return HttpResponseNotAllowed(METHODS)
        request.csp_nonce = secrets.token_urlsafe(16)  # type: ignore[attr-defined]  # what we hang on a request
        response = self.get_response(request)
        nonce = f"'nonce-{request.csp_nonce}'"  # type: ignore[attr-defined]  # what we hang on a request
        policy = [
            "default-src 'self'",
            f"script-src 'self' {nonce}",
            f"style-src 'self' {nonce}",
            "img-src 'self' data: blob:",
            "object-src 'none'",
            "base-uri 'none'",
            "form-action 'self'",
            "frame-ancestors 'none'",
        ]
        response.headers.setdefault("Content-Security-Policy", "; ".join(policy))
        response.headers.setdefault("Permissions-Policy", "camera=(self), geolocation=(), microphone=()")
        response.headers.setdefault("Referrer-Policy", "same-origin")
        return response
