"""How rows of jobs are shown."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from jobs.models import (
    Addition,
    ExpectedDates,
    Job,
    Observation,
    Pool,
    PoolOwner,
    Scope,
    Site,
    Survey,
    WaterTest,
)
from jobs.selectors.condition import finding_of
from jobs.selectors.pools import pool_figures
from shared.api.rows import Anything

JSON_OBJECT = {"type": "object", "additionalProperties": True}
JSON_LIST = {"type": "array", "items": {}}


@extend_schema_field(JSON_OBJECT)
class Facts(serializers.JSONField):
    """An object whose names depend on the row."""


@extend_schema_field(JSON_LIST)
class Rows(serializers.JSONField):
    """A list of rows."""


class PoolOwnerRow(serializers.ModelSerializer[PoolOwner]):
    class Meta:
        model = PoolOwner
        fields = ("id", "name", "email", "phone", "language", "wants_notices")


class SiteRow(serializers.ModelSerializer[Site]):
    class Meta:
        model = Site
        fields = (
            "id", "label", "address", "branch", "latitude", "longitude", "zone", "quiet_until_min", "quiet_from_min",
            "hose_flow_l_min", "hose_flow_measured", "hoses", "discharge_limit_l_min", "high_groundwater", "notes",
        )  # fmt: skip


class Figures(serializers.Serializer[Any]):
    """What follows from the measures."""

    plan_m2 = serializers.FloatField()
    perimeter_m = serializers.FloatField()
    surface_m2 = serializers.FloatField()
    volume_m3 = serializers.FloatField()


class PoolRow(serializers.ModelSerializer[Pool]):
    points_m = Rows()
    profile = Rows()
    steps = Rows()
    benches = Rows()
    site = serializers.UUIDField(source="site_id")
    figures = serializers.SerializerMethodField()

    class Meta:
        model = Pool
        fields = (
            "id", "site", "shape", "length_m", "width_m", "points_m", "profile", "axis_deg", "tile_band_m",
            "cove_radius_m", "steps", "benches", "fittings_m2", "built_year", "figures",
        )  # fmt: skip

    @extend_schema_field(Figures)
    def get_figures(self, pool: Pool) -> dict[str, float]:
        found = pool_figures(pool)
        return {name: round(float(getattr(found, name)), 4) for name in Figures().get_fields()}


class SiteBrief(serializers.ModelSerializer[Site]):
    class Meta:
        model = Site
        fields = ("id", "label", "branch", "zone")


class JobRow(serializers.ModelSerializer[Job]):
    site = SiteBrief()
    pool = serializers.UUIDField(source="pool_id")
    pool_owner = PoolOwnerRow()

    class Meta:
        model = Job
        fields = (
            "id", "number", "state", "site", "pool", "pool_owner", "finish", "start_up_method", "weight",
            "earliest_date", "promised_date", "promised_at", "filled_on", "someone_home", "notes", "created_at",
            "version",
        )  # fmt: skip


class ObservationRow(serializers.ModelSerializer[Observation]):
    value = Anything()

    class Meta:
        model = Observation
        fields = ("name", "value", "made_at")


class FindingRow(serializers.Serializer[Any]):
    """What the interior surface probably is."""

    kinds = serializers.DictField(child=serializers.FloatField())
    coats = serializers.DictField(child=serializers.FloatField())
    painted = serializers.FloatField()
    bonded = serializers.FloatField()
    next_observation = serializers.CharField(allow_null=True)
    contradictions = serializers.ListField(child=serializers.CharField())


class SurveyRow(serializers.ModelSerializer[Survey]):
    pool = serializers.UUIDField(source="pool_id")
    observations = ObservationRow(many=True)
    finding = serializers.SerializerMethodField()

    class Meta:
        model = Survey
        fields = ("id", "pool", "taken_at", "taken_by", "dry", "notes", "observations", "finding")

    @extend_schema_field(FindingRow)
    def get_finding(self, survey: Survey) -> dict[str, Any]:
        found = finding_of(survey)
        return {
            "kinds": {str(kind): round(share, 4) for kind, share in found.kinds.items()},
            "coats": {str(count): round(share, 4) for count, share in found.coats.items()},
            "painted": round(found.painted, 4),
            "bonded": round(found.bonded, 4),
            "next_observation": found.next_observation,
            "contradictions": list(found.contradictions),
        }


class ScopeRow(serializers.ModelSerializer[Scope]):
    job = serializers.UUIDField(source="job_id")
    survey = serializers.UUIDField(source="survey_id")
    decided = Facts()

    class Meta:
        model = Scope
        fields = (
            "id", "job", "survey", "kind", "strip_share", "coats_off", "painted", "repairs_h", "decided", "provisional",
            "overruled", "agreed_at", "agreed_by",
        )  # fmt: skip


class ProposedScope(serializers.Serializer[Any]):
    """What the survey asks for by the trade's rules."""

    survey = serializers.UUIDField()
    kind = serializers.CharField()
    words = serializers.CharField()
    probability = serializers.FloatField()
    provisional = serializers.BooleanField()
    stopped = serializers.BooleanField()
    decided_by = serializers.ListField(child=serializers.CharField())
    would_change = serializers.ListField(child=serializers.CharField())
    opinions_needed = serializers.ListField(child=serializers.CharField())
    cautions = serializers.ListField(child=serializers.CharField())


class QuantitiesRow(serializers.Serializer[Any]):
    """Work in person-hours, material in kg and pieces, water in m3."""

    surface_m2 = serializers.FloatField()
    strip_m2 = serializers.FloatField()
    taper_m2 = serializers.FloatField()
    cut_m = serializers.FloatField()
    paint_m2 = serializers.FloatField()
    prep_person_h = serializers.FloatField()
    bond_h = serializers.FloatField()
    laying_h = serializers.FloatField()
    batches = serializers.IntegerField()
    cement_kg = serializers.FloatField()
    aggregate_kg = serializers.FloatField()
    mixing_water_l = serializers.FloatField()
    bond_coat_kg = serializers.FloatField()
    debris_kg = serializers.FloatField()
    fill_m3 = serializers.FloatField()


def quantities_shown(found: Any) -> dict[str, Any]:
    known = asdict(found)
    return {name: known[name] for name in QuantitiesRow().get_fields()}


class ExpectedRow(serializers.ModelSerializer[ExpectedDates]):
    job = serializers.UUIDField(source="job_id")
    verdicts = Rows()
    band = Anything()

    class Meta:
        model = ExpectedDates
        fields = ("job", "computed_at", "weather_issued_at", "weather_source", "first_day", "verdicts", "band")


class WaterTestRow(serializers.ModelSerializer[WaterTest]):
    job = serializers.UUIDField(source="job_id")
    advice = Facts()

    class Meta:
        model = WaterTest
        fields = (
            "id", "client_id", "job", "at", "by", "temp_c", "ph", "calcium_hardness_mg_l", "total_alkalinity_mg_l",
            "tds_mg_l", "cyanuric_acid_mg_l", "free_chlorine_mg_l", "index", "doubted", "advice",
        )  # fmt: skip


class AdditionRow(serializers.ModelSerializer[Addition]):
    job = serializers.UUIDField(source="job_id")
    predicted = Facts()

    class Meta:
        model = Addition
        fields = ("id", "client_id", "job", "at", "by", "substance", "amount_kg", "amount_l", "predicted")
