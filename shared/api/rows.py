from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from shared.models import AccessToken, AuditEntry, Membership
from shared.scopes import Scope


class ContractorRow(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    name = serializers.CharField()
    zone = serializers.CharField()
    units = serializers.CharField()


class MeRow(serializers.Serializer[Any]):
    """Whose token this is, and what it may do."""

    member = serializers.UUIDField()
    name = serializers.CharField()
    language = serializers.CharField()
    role = serializers.CharField()
    scope = serializers.ChoiceField(choices=Scope.choices)
    expires_at = serializers.DateTimeField()
    contractor = ContractorRow()


class MemberRow(serializers.ModelSerializer[Membership]):
    name = serializers.CharField(source="person.name")
    email = serializers.EmailField(source="person.email")

    class Meta:
        model = Membership
        fields = ("id", "name", "email", "role", "active", "joined_at")


class TokenRow(serializers.ModelSerializer[AccessToken]):
    """A token of the API; what it opens was shown once, when it was made."""

    name = serializers.CharField(source="note.name", default="")
    scope = serializers.ChoiceField(choices=Scope.choices, source="purpose")
    member = serializers.UUIDField(source="subject_id", allow_null=True)

    class Meta:
        model = AccessToken
        fields = ("id", "name", "scope", "member", "made_by", "created_at", "expires_at", "last_used_at")


class InvitationRow(serializers.ModelSerializer[AccessToken]):
    email = serializers.CharField(source="note.email")
    role = serializers.CharField(source="note.role")

    class Meta:
        model = AccessToken
        fields = ("id", "email", "role", "made_by", "created_at", "expires_at")


@extend_schema_field({})
class Anything(serializers.JSONField):
    """Whatever was kept, or nothing."""


class AuditRow(serializers.ModelSerializer[AuditEntry]):
    before = Anything()
    after = Anything()

    class Meta:
        model = AuditEntry
        fields = ("id", "at", "who", "what", "subject", "subject_id", "before", "after", "origin")
