"""Whose token it is, members, invitations and the audit trail."""

from __future__ import annotations

import uuid

from django.http import Http404
from django.urls import reverse
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from shared.api import rows
from shared.api.endpoint import Endpoint, operation, read
from shared.api.fields import Choice, Email, In, Yes
from shared.api.marks import matched, shown
from shared.api.pages import Paged, asked, page
from shared.models import AccessToken, AuditEntry, Firm, Membership, Role, TokenKind
from shared.scopes import EVERYBODY, MANAGER
from shared.services.members import invitation_make, member_change
from shared.services.tokens import token_revoke


class InvitationBody(In):
    EXAMPLE = {"email": "new@firm.example", "role": "crew_lead"}

    email = Email(max_length=254)
    role = Choice(choices=Role.choices)


class MemberPatch(In):
    role = Choice(choices=Role.choices, required=False)
    active = Yes(required=False, help_text="May log in to this firm.")


class Me(Endpoint):
    may = {"GET": EVERYBODY}

    @operation("me", "Whose token this is", gives=rows.MeRow)
    def get(self, request: Request) -> Response:
        token = request.auth
        assert isinstance(token, AccessToken)
        firm = Firm.objects.get()
        said = {
            "member": self.who.pk,
            "name": self.who.person.name,
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
        return shown(request, rows.MeRow(said).data)


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
        made = invitation_make(**read(request, InvitationBody), by=self.who)
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
        token_revoke(found)
        return Response(status=204)

    def _open(self, pk: uuid.UUID, *, lock: bool = False) -> AccessToken:
        found = self.own(AccessToken, pk, lock=lock)
        if found.kind != TokenKind.INVITATION or found.revoked_at is not None:
            raise Http404
        return found


class AuditAsked(Paged):
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
        return page(found, wanted, rows.AuditRow)
