"""Whose token it is, members, invitations and the audit trail."""

from __future__ import annotations

import uuid
from typing import Any

from django.conf import settings
from django.db.models import Q
from django.http import Http404
from django.urls import reverse
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from shared.api import rows
from shared.api.endpoint import Endpoint, operation, read
from shared.api.fields import Choice, Email, In, Text, Yes
from shared.api.marks import matched, shown
from shared.api.pages import Paged, asked, page
from shared.models import AccessToken, AuditEntry, Firm, Membership, Role, TokenKind
from shared.scopes import EVERYBODY, MANAGER, ON_SITE
from shared.services.api_tokens import api_token_revoke
from shared.services.members import invitation_make, invitation_withdraw, member_change, person_change


class InvitationBody(In):
    EXAMPLE = {"email": "new@firm.example", "role": "crew_lead"}

    email = Email(max_length=254)
    role = Choice(choices=Role.choices)


class MemberPatch(In):
    role = Choice(choices=Role.choices, required=False)
    active = Yes(required=False, help_text="May log in to this firm.")


class MePatch(In):
    EXAMPLE = {"language": "en"}

    name = Text(max_length=120, required=False)
    language = Choice(choices=settings.LANGUAGES, required=False)


class Me(Endpoint):
    may = {"GET": EVERYBODY, "PATCH": ON_SITE}

    @operation("me", "Whose token this is", gives=rows.MeRow)
    def get(self, request: Request) -> Response:
        return shown(request, self._row(request))

    @operation("me_change", "Change one's own name and language", takes=MePatch, gives=rows.MeRow, match=True)
    def patch(self, request: Request) -> Response:
        matched(request, self._row(request))
        person = self.who.person
        person_change(person, **{"name": person.name, "language": person.language, **read(request, MePatch)})
        return shown(request, self._row(request))

    def _row(self, request: Request) -> Any:
        token = request.auth
        assert isinstance(token, AccessToken)
        firm = Firm.objects.get()
        said = {
            "member": self.who.pk,
            "name": self.who.person.name,
            "language": self.who.person.language,
            "role": self.who.role,
            "scope": token.purpose,
            "expires_at": token.expires_at,
            "contractor": {
                "id": self.contractor.pk,
                "name": self.contractor.name,
                "zone": self.contractor.zone,
                "units": firm.units,
            },
        }
        return rows.MeRow(said).data


class Tokens(Endpoint):
    """Tokens are made under a log-in only, so that a stolen one cannot renew itself."""

    may = {"GET": EVERYBODY}

    @operation("tokens_list", "One's own tokens; a manager sees the firm's", gives=rows.TokenRow, many=True,
               filters=Paged)  # fmt: skip
    def get(self, request: Request) -> Response:
        found = AccessToken.objects.filter(kind=TokenKind.API, revoked_at=None)
        own = found if self.who.is_manager else found.filter(subject_id=self.who.pk)
        return page(own, asked(request, Paged), rows.TokenRow)


class OneToken(Endpoint):
    may = {"GET": EVERYBODY, "DELETE": ON_SITE}

    @operation("token_show", "One token", gives=rows.TokenRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        return shown(request, rows.TokenRow(self._living(pk)).data)

    @operation("token_revoke", "It opens nothing from now on", status=204, match=True)
    def delete(self, request: Request, pk: uuid.UUID) -> Response:
        found = self._living(pk, lock=True)
        matched(request, rows.TokenRow(found).data)
        api_token_revoke(found, by=self.who)
        return Response(status=204)

    def _living(self, pk: uuid.UUID, *, lock: bool = False) -> AccessToken:
        """One's own; for a manager anybody's of the firm."""
        found = self.own(AccessToken, pk, lock=lock)
        own = self.who.is_manager or found.subject_id == self.who.pk
        if found.kind != TokenKind.API or found.revoked_at is not None or not own:
            raise Http404
        return found


class Members(Endpoint):
    may = {"GET": MANAGER}

    @operation("members_list", "Members of the firm", gives=rows.MemberRow, many=True, filters=Paged)
    def get(self, request: Request) -> Response:
        return page(Membership.objects.select_related("person"), asked(request, Paged), rows.MemberRow)


class OneMember(Endpoint):
    may = {"GET": MANAGER, "PATCH": MANAGER}

    @operation("member_show", "One member", gives=rows.MemberRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        return shown(request, rows.MemberRow(self.own(Membership, pk, "person")).data)

    @operation(
        "member_change", "Change a role, or end a membership", takes=MemberPatch, gives=rows.MemberRow, match=True
    )
    def patch(self, request: Request, pk: uuid.UUID) -> Response:
        found = self.own(Membership, pk, "person", lock=True)
        matched(request, rows.MemberRow(found).data)
        body = {"role": found.role, "active": found.active, **read(request, MemberPatch)}
        member_change(found, **body, by=self.who)
        return shown(request, rows.MemberRow(found).data)


class Invitations(Endpoint):
    may = {"GET": MANAGER, "POST": MANAGER}

    @operation("invitations_list", "Invitations that are open", gives=rows.InvitationRow, many=True, filters=Paged)
    def get(self, request: Request) -> Response:
        found = AccessToken.objects.filter(kind=TokenKind.INVITATION, revoked_at=None)
        return page(found, asked(request, Paged), rows.InvitationRow)

    @operation("invitation_make", "Invite a member", takes=InvitationBody, gives=rows.InvitationRow, status=201)
    def post(self, request: Request) -> Response:
        body = read(request, InvitationBody)
        if Membership.objects.filter(person__email=body["email"].strip().lower(), active=True).exists():
            raise serializers.ValidationError({"email": ["This is a member already; change the role there."]})
        made = invitation_make(**body, by=self.who)
        where = reverse("api:invitation", args=[made.pk])
        return shown(request, rows.InvitationRow(made).data, 201, Location=where)


class OneInvitation(Endpoint):
    may = {"GET": MANAGER, "DELETE": MANAGER}

    @operation("invitation_show", "One open invitation", gives=rows.InvitationRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        return shown(request, rows.InvitationRow(self._open(pk)).data)

    @operation("invitation_withdraw", "Withdraw an invitation", status=204, match=True)
    def delete(self, request: Request, pk: uuid.UUID) -> Response:
        found = self._open(pk, lock=True)
        matched(request, rows.InvitationRow(found).data)
        invitation_withdraw(found, by=self.who)
        return Response(status=204)

    def _open(self, pk: uuid.UUID, *, lock: bool = False) -> AccessToken:
        found = self.own(AccessToken, pk, lock=lock)
        if found.kind != TokenKind.INVITATION or found.revoked_at is not None:
            raise Http404
        return found


class AuditAsked(Paged):
    q = serializers.CharField(required=False, max_length=80, help_text="Part of who or what.")
    subject_id = serializers.UUIDField(required=False)
    at_from = serializers.DateTimeField(required=False)
    at_to = serializers.DateTimeField(required=False)


class Audit(Endpoint):
    may = {"GET": MANAGER}

    @operation("audit_list", "The audit trail, the newest first", gives=rows.AuditRow, many=True, filters=AuditAsked)
    def get(self, request: Request) -> Response:
        wanted = asked(request, AuditAsked)
        plain = {"subject_id": "subject_id", "at_from": "at__gte", "at_to": "at__lte"}
        found = AuditEntry.objects.filter(**{plain[name]: wanted[name] for name in plain if name in wanted})
        if "q" in wanted:
            found = found.filter(Q(who__icontains=wanted["q"]) | Q(what__icontains=wanted["q"]))
        return page(found, wanted, rows.AuditRow)
