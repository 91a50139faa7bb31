from __future__ import annotations

import uuid

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from shared import access
from shared.forms import InvitationForm, MemberForm
from shared.models import AccessToken, Membership, TokenKind
from shared.services.members import invitation_make, member_change
from shared.services.tokens import token_revoke


def members(request: HttpRequest) -> HttpResponse:
    who = access.manager(request)
    form = InvitationForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        invitation_make(**form.cleaned_data, by=who)
        return redirect("members")
    listed = Membership.objects.select_related("person").order_by("-active", "person__name")
    invitations = AccessToken.objects.filter(kind=TokenKind.INVITATION, revoked_at=None).order_by("-created_at")
    shown = {"members": listed, "invitations": invitations, "form": form}
    return render(request, "shared/members.html", shown, status=422 if form.errors else 200)


def member(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    who = access.manager(request)
    found = access.own(Membership, pk, "person")
    form = MemberForm(request.POST or None, initial={"role": found.role, "active": found.active})
    if request.method == "POST" and form.is_valid():
        try:
            member_change(found, **form.cleaned_data, by=who)
        except ValidationError as refused:
            form.add_error(None, refused)
        else:
            return redirect("members")
    return render(request, "shared/member.html", {"form": form, "found": found}, status=422 if form.errors else 200)


@require_POST
def invitation_withdraw(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    access.manager(request)
    token_revoke(access.own(AccessToken, pk))
    return redirect("members")
