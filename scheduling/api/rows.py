"""How rows of scheduling are shown."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from jobs.models import SiteLog
from scheduling.models import Absence, Crew, Plan, PlanRun, Shift, Stint
from scheduling.models.hook import Hook, HookCall
from scheduling.models.notice import Notice
from scheduling.selectors.alarms import chosen as alarm_chosen
from scheduling.selectors.links import link_address
from shared.models import AccessToken, Firm

OBJECT = {"type": "object", "additionalProperties": True}


@extend_schema_field(OBJECT)
class Facts(serializers.JSONField):
    """An object whose names depend on the row."""


class ShiftRow(serializers.ModelSerializer[Shift]):
    class Meta:
        model = Shift
        fields = ("weekday", "from_min", "to_min")


class CrewRow(serializers.ModelSerializer[Crew]):
    shifts = ShiftRow(many=True)
    skills = serializers.ListField(child=serializers.CharField())
    lead = serializers.UUIDField(source="lead_id", allow_null=True)

    class Meta:
        model = Crew
        fields = ("id", "name", "skills", "people", "lead", "branch", "latitude", "longitude", "active", "shifts")


class AbsenceRow(serializers.ModelSerializer[Absence]):
    crew = serializers.UUIDField(source="crew_id")

    class Meta:
        model = Absence
        fields = ("id", "crew", "first_day", "last_day", "reason")


class StintRow(serializers.ModelSerializer[Stint]):
    plan = serializers.UUIDField(source="plan_id", allow_null=True)
    job = serializers.UUIDField(source="job_id")
    job_number = serializers.IntegerField(source="job.number")
    site = serializers.UUIDField(source="job.site_id")
    site_label = serializers.CharField(source="job.site.label")
    crew = serializers.UUIDField(source="crew_id")

    class Meta:
        model = Stint
        fields = (
            "id", "plan", "job", "job_number", "site", "site_label", "crew", "stage", "key", "state", "starts", "ends",
            "kept", "begun_at", "done_at", "hours_worked",
        )  # fmt: skip


class LogRow(serializers.ModelSerializer[SiteLog]):
    job = serializers.UUIDField(source="job_id")
    data = Facts()  # type: ignore[assignment]  # a field of that name

    class Meta:
        model = SiteLog
        fields = ("id", "client_id", "job", "stint_id", "kind", "at", "taken_at", "by", "data")


class PlanRow(serializers.ModelSerializer[Plan]):
    class Meta:
        model = Plan
        fields = (
            "id", "state", "branch", "version", "base_version", "first_day", "objective", "bound", "greedy", "why",
            "created_at", "issued_at", "issued_by",
        )  # fmt: skip


class SideRow(serializers.Serializer[Any]):
    crew = serializers.CharField()
    starts = serializers.DateTimeField()
    ends = serializers.DateTimeField()


class ChangeRow(serializers.Serializer[Any]):
    """One stint that is moved, added or dropped, and why."""

    job = serializers.UUIDField()
    kind = serializers.CharField()
    key = serializers.CharField()
    before = SideRow(allow_null=True)
    after = SideRow(allow_null=True)
    why = serializers.CharField(allow_blank=True)


class TotalsRow(serializers.Serializer[Any]):
    late_days = serializers.IntegerField()
    late_jobs = serializers.IntegerField()
    full_sum = serializers.IntegerField()
    driven_m = serializers.IntegerField()
    left_out = serializers.IntegerField()


class ComparisonRow(serializers.Serializer[Any]):
    """What a proposal would change of the plan in force."""

    plan = serializers.UUIDField()
    issued = serializers.UUIDField(allow_null=True)
    changes = ChangeRow(many=True)
    before = TotalsRow()
    after = TotalsRow()
    left_out = serializers.ListField(child=serializers.UUIDField())


class PromiseChanceRow(serializers.Serializer[Any]):
    """Chance that a pool is full by its promised date, with the plan in force and with the proposal."""

    job = serializers.UUIDField(source="job.pk")
    promised_date = serializers.DateField(source="job.promised_date")
    before = serializers.FloatField(allow_null=True, min_value=0, max_value=1)
    after = serializers.FloatField(allow_null=True, min_value=0, max_value=1, help_text="Null: not computed.")


class ChancesRow(serializers.Serializer[Any]):
    """Promised jobs whose stints a proposal moves."""

    chances = PromiseChanceRow(many=True)


class RunRow(serializers.ModelSerializer[PlanRun]):
    plan = serializers.UUIDField(source="plan_id", allow_null=True)
    progress = Facts()

    class Meta:
        model = PlanRun
        fields = (
            "id", "state", "branch", "asked_by", "asked_at", "why", "seconds", "attempts", "progress", "problem_text",
            "plan",
        )  # fmt: skip


class LinkRow(serializers.ModelSerializer[AccessToken]):
    address = serializers.SerializerMethodField()
    alarm = serializers.SerializerMethodField()

    class Meta:
        model = AccessToken
        fields = ("id", "kind", "purpose", "subject_id", "address", "alarm", "made_by", "created_at", "last_used_at")

    def get_alarm(self, token: AccessToken) -> str:
        return alarm_chosen(token)

    def get_address(self, token: AccessToken) -> str:
        return link_address(token)


class NoticeRow(serializers.ModelSerializer[Notice]):
    job = serializers.UUIDField(source="job_id", allow_null=True)
    receiver = serializers.UUIDField(source="receiver_id")
    mail = serializers.UUIDField(source="mail_id", allow_null=True)

    class Meta:
        model = Notice
        fields = ("id", "kind", "job", "receiver", "cause", "state", "why", "made_at", "due_at", "mail")


class HookRow(serializers.ModelSerializer[Hook]):
    events = serializers.ListField(child=serializers.CharField())

    class Meta:
        model = Hook
        fields = ("id", "url", "events", "active", "made_by", "created_at")


class HookSecretRow(serializers.Serializer[Any]):
    """What calls are signed with from now on; it is shown nowhere else."""

    id = serializers.UUIDField()
    secret = serializers.CharField()


class HookCallRow(serializers.ModelSerializer[HookCall]):
    class Meta:
        model = HookCall
        fields = ("id", "event", "cause", "body", "state", "made_at", "next_try_at", "attempts", "repeats", "done_at",
                  "code", "answer")  # fmt: skip


class FirmRow(serializers.ModelSerializer[Firm]):
    limits = Facts()
    rates = Facts()
    weights = Facts()
    start_up = Facts()
    words = Facts()

    class Meta:
        model = Firm
        fields = ("units", "contact_name", "phone", "pumps", "rigs", "limits", "rates", "weights", "start_up", "words",
                  "weather_source")  # fmt: skip


class DecisionRow(serializers.Serializer[Any]):
    """What needs the office, the dearest to leave first."""

    kind = serializers.CharField()
    risk = serializers.CharField()
    why = serializers.CharField()
    measure = serializers.CharField()
    job = serializers.UUIDField(allow_null=True)
    ways = serializers.ListField(child=serializers.CharField())


class DecisionsRow(serializers.Serializer[Any]):
    results = DecisionRow(many=True)


class DrainRow(serializers.Serializer[Any]):
    """How many drain stints the record released. It clears nothing by itself."""

    released = serializers.IntegerField()
