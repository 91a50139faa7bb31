from __future__ import annotations

import uuid
from dataclasses import dataclass
from urllib.parse import quote

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from shared import access, clock
from shared.forms import ROLE_WORDS, InvitationForm, MemberForm
from shared.models import AccessToken, Membership, Role, TokenKind
from shared.services.members import invitation_make, member_change
from shared.services.members import invitation_withdraw as withdraw


@dataclass(frozen=True)
class Invited:
    """An open invitation with its whole address, and a letter to send it with."""

    token: AccessToken
    role: str
    address: str
    letter: str
    is_over: bool


def members(request: HttpRequest) -> HttpResponse:
    """Who belongs to the firm, who is invited, and what each role may do."""
    who = access.manager(request)
    form = InvitationForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        email = form.cleaned_data["email"]
        present = Membership.objects.filter(person__email=email.strip().lower(), active=True).first()
        if present is not None:
            form.add_error(
                "email",
                _("%(email)s is a member already (%(role)s); change the role there.")
                % {"email": email, "role": present.get_role_display()},
            )
        else:
            invitation_make(**form.cleaned_data, by=who)
            messages.success(request, _("The invitation is ready: send its link to %(email)s.") % {"email": email})
            return redirect(reverse("members") + "#invitations")
    shown = {
        "members": Membership.objects.select_related("person").order_by("-active", "person__name"),
        "invitations": _invitations(request, who),
        "form": form,
        "roles": [(role.label, words) for role, words in ROLE_WORDS.items()],
    }
    return render(request, "shared/members.html", shown, status=422 if form.errors else 200)


def _invitations(request: HttpRequest, who: Membership) -> list[Invited]:
    open_ones = AccessToken.objects.filter(kind=TokenKind.INVITATION, revoked_at=None).order_by("-created_at")
    return [_invited(request, who, token) for token in open_ones]


def _invited(request: HttpRequest, who: Membership, token: AccessToken) -> Invited:
    address = request.build_absolute_uri(reverse("invitation", args=[token.secret]))
    subject = _("Join %(firm)s") % {"firm": who.contractor.name}
    body = _("Open this link to join %(firm)s; it works once, until %(day)s:") % {
        "firm": who.contractor.name,
        "day": f"{token.expires_at:%Y-%m-%d}",
    }
    letter = f"mailto:{quote(str(token.note['email']))}?subject={quote(subject)}&body={quote(f'{body} {address}')}"
    role = Role(str(token.note["role"])).label
    return Invited(token, str(role), address, letter, token.expires_at is None or token.expires_at <= clock.now())


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
            messages.success(request, _("Kept."))
            return redirect("members")
    return render(
        request, "shared/member.html", {"form": form, "found": found, "who": who}, status=422 if form.errors else 200
    )


@require_POST
def invitation_withdraw(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """An invitation that is not open any more, and a link that is none, are absent."""
    who = access.manager(request)
    token = access.own(AccessToken, pk)
    if token.kind != TokenKind.INVITATION:
        raise Http404
    withdraw(token, by=who)
    messages.success(request, _("The invitation is withdrawn; its link opens nothing."))
    return redirect("members")
