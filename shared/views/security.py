"""Tokens of the API, the rule of the second factor, and the audit trail."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any, Final

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from shared import access, clock
from shared.models import AccessToken, AuditEntry, Firm, Membership, TokenKind
from shared.scopes import Scope, scopes_of
from shared.services.api_tokens import api_token_make, api_token_revoke
from shared.services.second_factor import second_factor_of, second_factor_rule

DAYS: Final = ((30, _l("30 days")), (90, _l("90 days")), (365, _l("a year")))
TRAIL_PAGE: Final = 100


class TokenForm(forms.Form):
    name = forms.CharField(label=_l("What it is for"), max_length=80)
    scope = forms.ChoiceField(label=_l("What it may do"), widget=forms.RadioSelect)
    days = forms.TypedChoiceField(label=_l("Good for"), choices=DAYS, coerce=int, initial=90)

    def __init__(self, *args: Any, role: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["scope"].choices = [(scope.value, scope.label) for scope in scopes_of(role)]  # type: ignore[attr-defined]  # a choice field
        self.fields["scope"].initial = Scope.READ


@never_cache
def tokens(request: HttpRequest) -> HttpResponse:
    """One's own tokens of the API; a new one is shown this once."""
    who = access.member(request)
    form = TokenForm(request.POST or None, role=who.role)
    secret = ""
    if request.method == "POST" and form.is_valid():
        ends = clock.now() + dt.timedelta(days=form.cleaned_data["days"])
        try:
            _token, secret = api_token_make(
                who, name=form.cleaned_data["name"], scope=form.cleaned_data["scope"], expires_at=ends
            )
        except ValidationError as refused:
            form.add_error(None, refused.messages)
        else:
            form = TokenForm(role=who.role)
    shown = {"form": form, "secret": secret, "tokens": _listed(subject_id=who.pk)}
    return render(request, "shared/tokens.html", shown, status=422 if form.errors else 200)


def _listed(**chosen: Any) -> list[dict[str, Any]]:
    now = clock.now()
    found = AccessToken.objects.filter(kind=TokenKind.API, revoked_at=None, **chosen).order_by("-created_at")
    names = dict(Membership.objects.values_list("pk", "person__name"))
    return [
        {
            "token": token,
            "name": token.note.get("name", ""),
            "member": names.get(token.subject_id, "") if token.subject_id else "",
            "over": token.expires_at is None or token.expires_at <= now,
        }
        for token in found
    ]


@require_POST
def token_revoke(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """One's own; a manager may end anybody's."""
    who = access.member(request)
    if not who.is_manager and not AccessToken.objects.filter(pk=pk, subject_id=who.pk).exists():
        raise PermissionDenied
    token = access.own(AccessToken, pk)
    if token.kind != TokenKind.API:
        raise Http404
    api_token_revoke(token, by=who)
    messages.success(request, _("The token opens nothing any more."))
    return redirect("tokens" if token.subject_id == who.pk else "security")


def security(request: HttpRequest) -> HttpResponse:
    """What a manager decides and sees of access to the firm."""
    who = access.manager(request)
    firm = Firm.objects.get()
    refused: list[str] = []
    if request.method == "POST":
        try:
            second_factor_rule(firm, needed=request.POST.get("second_factor") == "on", by=who)
        except ValidationError as problem:
            refused = problem.messages
        else:
            messages.success(request, _("Kept."))
            return redirect("security")
    own = second_factor_of(who.person_id) is not None
    shown = {"firm": firm, "own": own, "refused": refused, "tokens": _listed()}
    return render(request, "shared/security.html", shown, status=422 if refused else 200)


@require_safe
def trail(request: HttpRequest) -> HttpResponse:
    """Who did what, from where, before and after; newest first, a hundred a page."""
    access.manager(request)
    found = AuditEntry.objects.order_by("-pk")
    words, before = request.GET.get("q", "").strip().replace("\x00", "")[:80], request.GET.get("before", "")
    if words:
        found = found.filter(who__icontains=words) | found.filter(what__icontains=words)
    try:
        found = found.filter(pk__lt=uuid.UUID(before)) if before else found
    except ValueError as wrong:
        raise Http404 from wrong
    entries = list(found[: TRAIL_PAGE + 1])
    rows = [{"entry": entry, "changes": changes(entry)} for entry in entries[:TRAIL_PAGE]]
    older = entries[TRAIL_PAGE - 1].pk if len(entries) > TRAIL_PAGE else None
    return render(request, "shared/trail.html", {"rows": rows, "words": words, "older": older})


def changes(entry: AuditEntry) -> list[tuple[str, str, str]]:
    """(name, before, after) of what the entry holds."""
    before, after = entry.before or {}, entry.after or {}
    return [(name, _short(before.get(name)), _short(after.get(name))) for name in {**before, **after}]


def _short(value: Any) -> str:
    text = "" if value is None else str(value)
    return text if len(text) <= 120 else f"{text[:120]}…"
