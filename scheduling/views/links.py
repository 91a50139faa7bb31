from __future__ import annotations

import uuid

from django.contrib import messages
from django.core.exceptions import BadRequest, PermissionDenied, ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from scheduling.services import links
from shared import access
from shared.models import AccessToken, Membership

OF_A_JOB = "pool_owner"


@require_POST
def link_make(request: HttpRequest) -> HttpResponse:
    """Make a link of a job, a crew or the firm."""
    who = access.office(request)
    kind, purpose = request.POST.get("kind", ""), request.POST.get("purpose", "")
    subject = request.POST.get("subject") or None
    if (kind, purpose) not in links.ALLOWED:
        raise BadRequest("This is no link that can be made here.")
    _may(who, purpose)
    try:
        token = links.link_make(kind, purpose, uuid.UUID(subject) if subject else None, by=who)
    except (ValidationError, ValueError) as refused:
        raise BadRequest(str(refused)) from refused
    return _back(token)


@require_POST
def link_rotate(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """A new address in place of the old one."""
    who = access.office(request)
    token = _own_link(pk)
    _may(who, token.purpose)
    links.link_rotate(token, by=who)
    messages.success(request, _("The link has a new address; the old one opens nothing any more."))
    return _back(token)


@require_POST
def link_revoke(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """End a link."""
    who = access.office(request)
    token = _own_link(pk)
    _may(who, token.purpose)
    links.link_revoke(token, by=who)
    messages.success(request, _("The link is ended; its address opens nothing any more."))
    return _back(token)


@require_POST
def link_alarm(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """When calendars that read this link ring."""
    who = access.office(request)
    token = _own_link(pk)
    _may(who, token.purpose)
    try:
        links.link_alarm(token, request.POST.get("alarm", ""), by=who)
    except ValidationError as refused:
        raise BadRequest(" ".join(refused.messages)) from refused
    messages.success(request, _("Kept; calendars follow when they look again."))
    return _back(token)


def _own_link(pk: uuid.UUID) -> AccessToken:
    """A calendar link or private link of this firm; invitations and API tokens have pages of their own."""
    token = access.own(AccessToken, pk)
    if (token.kind, token.purpose) not in links.ALLOWED or token.revoked_at is not None:
        raise Http404
    return token


def _may(who: Membership, purpose: str) -> None:
    """The office looks after the links of its jobs, a manager after those of crews and firm."""
    if purpose != OF_A_JOB and not who.is_manager:
        raise PermissionDenied


def _back(token: AccessToken) -> HttpResponse:
    if token.purpose == OF_A_JOB:
        return redirect("job", token.subject_id)
    return redirect("crew", token.subject_id) if token.purpose == "crew" else redirect("firm")
