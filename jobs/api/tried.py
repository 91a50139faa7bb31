"""What follows from measures, readings and choices that are not kept, and the water-loss test that may be."""

from __future__ import annotations

import uuid
from dataclasses import asdict
from typing import Any

from django.core.exceptions import ValidationError
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.api import bodies, rows
from jobs.api.views import OF_JOB, USUAL_POOL
from jobs.condition.water_loss import WaterLoss, open_water_evaporation_mm_d, water_loss
from jobs.models import Job, Pool
from jobs.selectors.condition import survey_latest
from jobs.selectors.pools import pool_figures
from jobs.selectors.scope_page import scope_page
from jobs.services.surveys import observation_record, survey_begin
from shared import clock
from shared.api.endpoint import Endpoint, operation, read
from shared.api.fields import Asked, In, Number, Yes
from shared.api.marks import shown
from shared.api.pages import asked
from shared.models import Firm
from shared.scopes import OFFICE

MOST_LOSS_MM_D = 200.0


class WaterLossBody(In):
    """Readings of one test; without a bucket, the mean weather of its days from which evaporation is computed."""

    EXAMPLE = {"days": 3.0, "drop_mm": 30.0, "bucket_drop_mm": 12.0}

    days = Number(low=1, high=30)
    drop_mm = Number(low=-200, high=1000)
    bucket_drop_mm = Number(low=-200, high=600, required=False, allow_null=True)
    temp_air_c = Number(low=-40, high=60, required=False)
    relative_humidity = Number(low=0, high=1, required=False)
    wind_m_s = Number(low=0, high=40, required=False)
    rain_mm = Number(low=0, high=500, required=False)
    other_use_mm = Number(low=-1000, high=1000, required=False)
    keep = Yes(required=False, help_text="Make it an answer of the survey.")


class WaterLossRow(serializers.Serializer[Any]):
    """Loss beyond evaporation; low and high hold 95 % of what it may be."""

    loss_mm_d = serializers.FloatField()
    standard_error_mm_d = serializers.FloatField()
    low_mm_d = serializers.FloatField()
    high_mm_d = serializers.FloatField()
    loss_l_d = serializers.FloatField()
    evaporation_mm = serializers.FloatField()
    by_bucket = serializers.BooleanField()
    beyond_evaporation = serializers.BooleanField()
    words = serializers.CharField()
    kept = serializers.BooleanField()


class JobWaterLoss(Endpoint):
    may = {"POST": OFFICE}

    @operation(
        "water_loss_measure", "Loss of water beyond evaporation", takes=WaterLossBody, gives=WaterLossRow, tag=False
    )
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        job = self.own(Job, pk, "site", "pool")
        body = read(request, WaterLossBody)
        try:
            loss = _loss(body, pool_figures(job.pool).plan_m2)
        except ValueError as refused:
            raise ValidationError(str(refused)) from refused
        if body.get("keep"):
            self._keep(job, loss)
        return Response(WaterLossRow({**asdict(loss), "kept": body.get("keep", False)}).data)

    def _keep(self, job: Job, loss: WaterLoss) -> None:
        """A loss that evaporation may explain counts as none."""
        found = survey_latest(job.pool) or survey_begin(job.pool, by=self.who, at=clock.now())
        value = round(loss.loss_mm_d, 1) if loss.beyond_evaporation else 0.0
        value = min(value, MOST_LOSS_MM_D)
        observation_record(found, name="water_loss_mm_d", value=value, by=self.who, at=clock.now())


def _loss(body: dict[str, Any], water_surface_m2: float) -> WaterLoss:
    bucket, evaporation = body.get("bucket_drop_mm"), None
    if bucket is None:
        if not {"temp_air_c", "relative_humidity", "wind_m_s"} <= set(body):
            raise ValidationError({"bucket_drop_mm": "Give it, or temp_air_c, relative_humidity and wind_m_s instead."})
        daily = open_water_evaporation_mm_d(body["temp_air_c"], body["relative_humidity"], body["wind_m_s"])
        evaporation = float(daily) * body["days"]
    return water_loss(
        drop_mm=body["drop_mm"],
        days=body["days"],
        water_surface_m2=water_surface_m2,
        evaporation_mm=evaporation,
        bucket_drop_mm=bucket,
        rain_mm=body.get("rain_mm", 0.0),
        other_use_mm=body.get("other_use_mm", 0.0),
    )


class ScopeTried(Asked):
    kind = serializers.CharField(required=False, max_length=24, help_text="None: the proposed one.")
    repairs_h = serializers.FloatField(required=False, default=0.0, min_value=0, max_value=500)


class ChoiceRow(serializers.Serializer[Any]):
    """A scope that may be agreed."""

    kind = serializers.CharField()
    sentence = serializers.CharField()
    probability = serializers.FloatField(allow_null=True)
    prep_days = serializers.FloatField(allow_null=True)
    proposed = serializers.BooleanField()


class ScopeTriedRow(serializers.Serializer[Any]):
    """What one choice would need, beside the others; no quantities for what is no plaster work."""

    chosen = serializers.CharField()
    choices = ChoiceRow(many=True)
    quantities = rows.QuantitiesRow(allow_null=True)


class JobScopeTried(Endpoint):
    may = {"GET": OFFICE}

    @operation("scope_try", "What another scope would need; nothing is kept", gives=ScopeTriedRow, filters=ScopeTried)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        job = self.own(Job, pk, *OF_JOB)
        wanted = asked(request, ScopeTried)
        survey = survey_latest(job.pool)
        if survey is None or not survey.observations.exists():
            return self.absent("The pool is not surveyed yet.")
        found = scope_page(job, survey, Firm.objects.get(), kind=wanted.get("kind", ""), repairs_h=wanted["repairs_h"])
        if wanted.get("kind", found.chosen) != found.chosen:
            allowed = ", ".join(choice.kind for choice in found.choices)
            raise serializers.ValidationError({"kind": [f"Allowed here are: {allowed}."]})
        said = {
            "chosen": found.chosen,
            "choices": [asdict(choice) for choice in found.choices],
            "quantities": None if found.quantities is None else rows.quantities_shown(found.quantities),
        }
        return shown(request, ScopeTriedRow(said).data)


class PoolTried(Endpoint):
    may = {"POST": OFFICE}

    @operation(
        "pool_try", "What follows from measures; nothing is kept", takes=bodies.PoolBody, gives=rows.Figures, tag=False
    )
    def post(self, request: Request) -> Response:
        measures = {**USUAL_POOL, **read(request, bodies.PoolBody)}
        try:
            found = pool_figures(Pool(**measures))
        except ValueError as refused:
            raise ValidationError(str(refused)) from refused
        return Response({name: round(float(getattr(found, name)), 4) for name in rows.Figures().get_fields()})
