"""What the firm's own finished work says about its figures."""

from __future__ import annotations

import uuid
from typing import Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.models import LearningReset, Measured, Outcome
from scheduling.selectors.own_work import OwnFigure, own_figures
from scheduling.services.outcomes import learning_reset, outcome_count
from scheduling.tasks import expected_dates_task
from shared.api.endpoint import Endpoint, operation, read
from shared.api.fields import Choice, In, Text, Yes
from shared.api.marks import matched, shown
from shared.api.pages import Paged, asked, page
from shared.models import Firm
from shared.scopes import OFFICE


class FigureRow(serializers.Serializer[Any]):
    """One rate or mix that follows from what was learned, in force and in use."""

    label = serializers.CharField()  # type: ignore[assignment]  # a field, not the serializer's own label
    in_force = serializers.CharField()
    in_use = serializers.CharField()


class LearnedRow(serializers.Serializer[Any]):
    """Hours taken over hours expected: the factor, between what eight in ten lie, how much own work counts."""

    what = serializers.ChoiceField(choices=Measured.choices)
    words = serializers.CharField()
    figures = FigureRow(many=True)
    factor = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()
    entries = serializers.IntegerField()
    own_weight = serializers.FloatField()
    since = serializers.DateTimeField(allow_null=True, help_text="Only what was finished since counts.")


class OwnWorkRow(serializers.Serializer[Any]):
    results = LearnedRow(many=True)


class OutcomeRow(serializers.ModelSerializer[Outcome]):
    """What one stint took; `left_out` says why it does not count."""

    job = serializers.UUIDField(source="job_id")

    class Meta:
        model = Outcome
        fields = ("id", "job", "stint_id", "what", "at", "by", "expected_h", "planned_h", "took_h", "left_out")


class ResetRow(serializers.ModelSerializer[LearningReset]):
    class Meta:
        model = LearningReset
        fields = ("id", "what", "at", "by", "why")


class CountsBody(In):
    EXAMPLE = {"counts": False, "why": "two crews worked on it"}

    counts = Yes()
    why = Text(max_length=160, required=False, allow_blank=True, help_text="Needed where it does not count.")


class ResetBody(In):
    EXAMPLE = {"what": "prep", "why": "a new crew"}

    what = Choice(choices=Measured.choices)
    why = Text(max_length=160, required=False, allow_blank=True)


class OwnWork(Endpoint):
    may = {"GET": OFFICE}

    @operation("own_work_show", "What the firm's finished work says about its figures", gives=OwnWorkRow)
    def get(self, request: Request) -> Response:
        found = own_figures(Firm.objects.get())
        return shown(request, OwnWorkRow({"results": [_learned(one) for one in found]}).data)


def _learned(one: OwnFigure) -> dict[str, Any]:
    figures = [{"label": str(label), "in_force": force, "in_use": use} for label, force, use in one.figures]
    return {
        "what": one.what,
        "words": one.words,
        "figures": figures,
        "factor": one.found.factor,
        "low": one.found.low,
        "high": one.found.high,
        "entries": one.found.n,
        "own_weight": one.found.own_weight,
        "since": one.since.at if one.since else None,
    }


class OwnWorkResets(Endpoint):
    may = {"GET": OFFICE, "POST": OFFICE}

    @operation("learning_resets_list", "When the firm began anew with a figure", gives=ResetRow, many=True,
               filters=Paged)  # fmt: skip
    def get(self, request: Request) -> Response:
        return page(LearningReset.objects.all(), asked(request, Paged), ResetRow)

    @operation("learning_reset", "Only what is finished from now on counts", takes=ResetBody, gives=ResetRow,
               status=201)  # fmt: skip
    def post(self, request: Request) -> Response:
        made = learning_reset(**read(request, ResetBody), by=self.who)
        expected_dates_task.delay_on_commit(str(self.who.contractor_id))
        return shown(request, ResetRow(made).data, 201)


class OutcomesAsked(Paged):
    what = serializers.MultipleChoiceField(choices=Measured.choices, required=False)
    job = serializers.UUIDField(required=False)
    at_from = serializers.DateTimeField(required=False)
    at_to = serializers.DateTimeField(required=False)


class Outcomes(Endpoint):
    may = {"GET": OFFICE}

    @operation("outcomes_list", "What finished stints took", gives=OutcomeRow, many=True, filters=OutcomesAsked)
    def get(self, request: Request) -> Response:
        wanted = asked(request, OutcomesAsked)
        plain = {"what": "what__in", "job": "job_id", "at_from": "at__gte", "at_to": "at__lte"}
        found = Outcome.objects.filter(**{plain[name]: wanted[name] for name in plain if wanted.get(name)})
        return page(found, wanted, OutcomeRow)


class OneOutcome(Endpoint):
    may = {"GET": OFFICE}

    @operation("outcome_show", "What one stint took", gives=OutcomeRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        return shown(request, OutcomeRow(self.own(Outcome, pk)).data)


class OutcomeCounts(Endpoint):
    may = {"PUT": OFFICE}

    @operation("outcome_count", "It counts, or does not and why", takes=CountsBody, gives=OutcomeRow, match=True)
    def put(self, request: Request, pk: uuid.UUID) -> Response:
        found = self.own(Outcome, pk, lock=True)
        matched(request, OutcomeRow(found).data)
        outcome_count(found, **read(request, CountsBody), by=self.who)
        expected_dates_task.delay_on_commit(str(self.who.contractor_id))
        return shown(request, OutcomeRow(self.own(Outcome, pk)).data)
