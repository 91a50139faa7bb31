from __future__ import annotations

import uuid
from collections.abc import Iterator
from contextlib import contextmanager

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext as _
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from jobs.forms.measures import service_errors
from scheduling.forms.notices import WishesForm
from scheduling.models import NoticeKind, Receiver
from scheduling.selectors.receivers import Addressee, addressees
from scheduling.services.receivers import member_key, notices_stop, receivers_of, wishes_set
from shared import access
from shared.models import AccessToken, Contractor, Membership, TokenKind


def receiver(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """The office looks after the wishes of a pool owner or a colleague."""
    who = access.office(request)
    found = _addressee(who.contractor, access.own(Receiver, pk))
    return _page(request, found, who, reverse("receivers"))


def mine(request: HttpRequest) -> HttpResponse:
    """A member's own wishes."""
    who = access.member(request)
    key = member_key(who.pk)
    found = _addressee(who.contractor, receivers_of([key])[key])
    return _page(request, found, who, reverse("my-notices"))


def _addressee(contractor: Contractor, row: Receiver) -> Addressee:
    found = addressees(contractor, [row]).get(row.pk)
    if found is None:
        raise Http404
    return found


def _page(request: HttpRequest, found: Addressee, by: Membership, back: str) -> HttpResponse:
    form = WishesForm(found, request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            wishes_set(found, by=by, **form.wanted)
        except ValidationError as refused:
            service_errors(form, refused)
        else:
            messages.success(request, _("Kept."))
            return redirect(back)
    shown = {"form": form, "who": found, "mine": found.receiver.subject_id == by.pk}
    return render(request, "scheduling/wishes.html", shown, status=422 if form.errors else 200)


@contextmanager
def _opened(secret: str) -> Iterator[tuple[AccessToken, Addressee]]:
    """The receiver of a private link, in their language."""
    with access.opened_by(TokenKind.LINK, secret, "notices") as token:
        found = _addressee(token.contractor, access.own(Receiver, token.subject_id or ""))
        with translation.override(found.language):
            yield token, found


def _private(answer: HttpResponse) -> HttpResponse:
    answer["Cache-Control"] = "private, no-store"
    answer["X-Robots-Tag"] = "noindex, nofollow"
    answer["Referrer-Policy"] = "no-referrer"
    return answer


@csrf_exempt  # the secret of the address is the only key here; no login is used
@require_http_methods(["GET", "HEAD", "POST"])
def wishes(request: HttpRequest, secret: str) -> HttpResponse:
    """A receiver chooses by the link in a mail, without a login."""
    with _opened(secret) as (token, found):
        form = WishesForm(found, request.POST or None)
        kept = False
        if request.method == "POST" and form.is_valid():
            try:
                wishes_set(found, by="the receiver, by the link in a mail", **form.wanted)
                kept = True
            except ValidationError as refused:
                service_errors(form, refused)
        if kept:
            found = _addressee(token.contractor, Receiver.objects.get(pk=found.receiver.pk))
            form = WishesForm(found)
        shown = {"form": form, "who": found, "contractor": token.contractor, "kept": kept, "secret": secret}
        return _private(render(request, "site/wishes.html", shown, status=422 if form.errors else 200))


@csrf_exempt  # RFC 8058: the receiver's mail program posts it, without cookies or login
@require_http_methods(["GET", "HEAD", "POST"])
def stop(request: HttpRequest, secret: str) -> HttpResponse:
    """One-click unsubscribe: a POST stops at once, opening the address only asks."""
    with _opened(secret) as (token, found):
        kind = request.GET.get("kind", "")
        stopped = request.method == "POST"
        if stopped:
            notices_stop(found, kind)
        shown = {
            "who": found,
            "contractor": token.contractor,
            "kind": NoticeKind(kind).label if kind in NoticeKind.values else "",
            "stopped": stopped,
            "secret": secret,
        }
        return _private(render(request, "site/notices_stop.html", shown))
