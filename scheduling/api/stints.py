"""Why a stint is when it is, where else it could be, and a proposal with it there."""

from __future__ import annotations

import uuid
from dataclasses import asdict
from typing import Any

from django.core.exceptions import ValidationError
from django.urls import reverse
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.models import Job
from jobs.selectors.quantities import firm_rates, scope_latest
from scheduling.api.rows import PlanRow
from scheduling.models import Stint
from scheduling.selectors.bring import bring
from scheduling.selectors.other_outcome import other_outcome
from scheduling.selectors.problem import planning_problem
from scheduling.selectors.stint_cautions import stint_cautions
from scheduling.selectors.stint_others import stint_others
from scheduling.selectors.stint_view import stint_why
from scheduling.services.plan_parts import stint_propose
from scheduling.slots import SLOT_MIN
from scheduling.solver.problem import ProblemError
from shared import clock
from shared.api.endpoint import Endpoint, operation, read
from shared.api.fields import Id, In, Moment
from shared.api.marks import shown
from shared.models import Firm
from shared.scopes import OFFICE

OF_STINT = ("job__site", "job__pool", "job__pool_owner", "crew__lead__person", "plan")


class RuleRow(serializers.Serializer[Any]):
    """A rule: from when it alone would allow the stint, and when it could be without it."""

    rule = serializers.CharField()
    words = serializers.CharField()
    allows = serializers.DateTimeField(allow_null=True)
    without = serializers.DateTimeField(allow_null=True)
    binds = serializers.BooleanField()


class TriedRow(serializers.Serializer[Any]):
    """A day: free from when, or what holds the stint back there."""

    day = serializers.DateField()
    at = serializers.DateTimeField(allow_null=True)
    rule = serializers.CharField()
    words = serializers.CharField()


class WhyRow(serializers.Serializer[Any]):
    """What holds a stint back, what to bring to it, and what to beware of."""

    sentence = serializers.CharField()
    rules = RuleRow(many=True)
    earlier = TriedRow(many=True)
    later = TriedRow(many=True)
    broken_now = serializers.ListField(child=serializers.CharField())
    may_move = serializers.BooleanField()
    bring = serializers.ListField(child=serializers.CharField())
    cautions = serializers.ListField(child=serializers.CharField())


class StintWhy(Endpoint):
    may = {"GET": OFFICE}

    @operation("stint_why", "Why it is then and not earlier", gives=WhyRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        found = self.own(Stint, pk, *OF_STINT)
        firm, scope = Firm.objects.get(), scope_latest(found.job)
        said = asdict(stint_why(self.contractor, found, clock.now(), firm.units))
        said["bring"] = [str(line) for line in bring(found, scope, firm_rates(firm), firm.units)]
        said["cautions"] = [str(line) for line in stint_cautions(found, scope)]
        return shown(request, WhyRow(said).data)


class OtherRow(serializers.Serializer[Any]):
    """Another place of a stint; `crew` and `at` go into a move."""

    at = serializers.DateTimeField()
    crew = serializers.UUIDField()
    crew_name = serializers.CharField()
    cost = serializers.CharField()
    pushes = serializers.ListField(child=serializers.CharField())
    moved = serializers.IntegerField(help_text="Other stints of the same job that move with it.")


class OthersRow(serializers.Serializer[Any]):
    results = OtherRow(many=True)


class StintOthers(Endpoint):
    may = {"GET": OFFICE}

    @operation("stint_others", "The best other places of a stint, priced on the whole plan", gives=OthersRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        found = self.own(Stint, pk, *OF_STINT)
        units = Firm.objects.values_list("units", flat=True).get()
        listed = [
            {
                "at": one.at,
                "crew": one.crew_id,
                "crew_name": one.crew,
                "cost": one.cost,
                "pushes": list(one.pushes),
                "moved": one.moved,
            }
            for one in stint_others(self.contractor, found, clock.now(), units)
        ]
        return shown(request, OthersRow({"results": listed}).data)


class PlaceBody(In):
    EXAMPLE = {"crew": "0195f3b2-0000-7000-8000-00000000c001", "at": "2027-07-05T11:30:00Z"}

    crew = Id()
    at = Moment(help_text="When it should begin, on a whole or half hour.")


class StintMove(Endpoint):
    may = {"POST": OFFICE}

    @operation(
        "stint_move", "Propose the plan in force with this stint at another place",
        takes=PlaceBody, gives=PlanRow, status=201,
    )  # fmt: skip
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        found = self.own(Stint, pk, *OF_STINT)
        body = read(request, PlaceBody)
        why = f"{found.get_stage_display()} of job {found.job.number} moved by hand"
        place = str(found.job_id), found.key
        try:
            planned = planning_problem(self.contractor, clock.now(), branch=found.job.site.branch)
            start = planned.clock.slot(body["at"])
            if planned.clock.instant(start) != body["at"]:
                raise ValidationError(
                    {"at": f"Work is planned on whole steps of {SLOT_MIN} minutes; give such a time."}
                )
            made = stint_propose(self.contractor, planned, place, str(body["crew"]), start, why=why)
        except ProblemError as refused:
            raise ValidationError(str(refused)) from refused
        return shown(request, PlanRow(made).data, 201, Location=reverse("api:plan", args=[made.pk]))


class OtherOutcomeRow(serializers.Serializer[Any]):
    """The most probable other outcome of a scope in doubt, and what it would do to the plan in force."""

    kind = serializers.CharField()
    words = serializers.CharField()
    probability = serializers.FloatField()
    more_h = serializers.FloatField()
    sentence = serializers.CharField()
    pushes = serializers.ListField(child=serializers.CharField())
    fits = serializers.BooleanField()


class JobOtherOutcome(Endpoint):
    may = {"GET": OFFICE}

    @operation("other_outcome_show", "What the other outcome of a scope in doubt would push", gives=OtherOutcomeRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        job = self.own(Job, pk, "site", "pool")
        found = other_outcome(self.contractor, job, clock.now()) if job.is_open and job.filled_on is None else None
        if found is None:
            return self.absent("Nothing is in doubt: the shell was sounded, or no other outcome is likely.")
        return shown(request, OtherOutcomeRow(asdict(found)).data)
