"""Plans: in force, proposed, searched for; and what needs a decision."""

from __future__ import annotations

import uuid
from dataclasses import asdict
from typing import Any

from django.core.exceptions import ValidationError
from django.urls import reverse
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.services.dates_ask import weather_ask
from scheduling.api import bodies, rows
from scheduling.models import Plan, PlanRun, PlanState, RunState
from scheduling.selectors.changes import Comparison, comparison
from scheduling.selectors.decision_facts import decision_facts
from scheduling.selectors.decision_kinds import KINDS
from scheduling.selectors.decisions import decisions
from scheduling.selectors.weeks import branches
from scheduling.services.plan_parts import MovesNeeded, plan_issue_some
from scheduling.services.plan_runs import plan_ask, run_cancel
from scheduling.services.plans import PlanOutdated, plan_issue, plan_set_aside
from scheduling.services.promise_chances import promise_chances
from shared import clock
from shared.api.endpoint import Endpoint, operation, read
from shared.api.marks import matched, shown
from shared.api.pages import Paged, asked, page
from shared.api.problems import Conflict
from shared.models import Firm
from shared.scopes import OFFICE

HEAVY = ("problem", "answer")


class PlansAsked(Paged):
    state = serializers.MultipleChoiceField(choices=PlanState.choices, required=False)
    branch = serializers.CharField(required=False, max_length=40)
    made_from = serializers.DateTimeField(required=False)
    made_to = serializers.DateTimeField(required=False)


class Plans(Endpoint):
    may = {"GET": OFFICE}

    @operation("plans_list", "Plans: proposed, issued, past", gives=rows.PlanRow, many=True, filters=PlansAsked)
    def get(self, request: Request) -> Response:
        wanted = asked(request, PlansAsked)
        plain = {
            "state": "state__in",
            "branch": "branch",
            "made_from": "created_at__gte",
            "made_to": "created_at__lte",
        }
        found = Plan.objects.filter(**{plain[name]: wanted[name] for name in plain if wanted.get(name)})
        return page(found.defer(*HEAVY), wanted, rows.PlanRow)


class OnePlan(Endpoint):
    may = {"GET": OFFICE}

    @operation("plan_show", "One plan; its stints are listed by ?plan=", gives=rows.PlanRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        return shown(request, rows.PlanRow(self.own(Plan, pk)).data)


class PlanChanges(Endpoint):
    may = {"GET": OFFICE}

    @operation("plan_changes", "What a proposal would change, and why", gives=rows.ComparisonRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        plan = self.own(Plan, pk)
        if plan.state != PlanState.PROPOSED:
            self.absent("This plan is no proposal (any more).")
        found = comparison(self.contractor, plan, Firm.objects.values_list("units", flat=True).get())
        return shown(request, rows.ComparisonRow(_compared(found)).data)


def _compared(found: Comparison) -> dict[str, Any]:
    changes = [
        {"job": row.job.pk, "kind": one.kind, "key": one.key, "before": one.before, "after": one.after, "why": one.why}
        for row in found.jobs
        for one in row.changes
    ]
    return {
        "plan": found.plan.pk,
        "issued": found.issued.pk if found.issued else None,
        "changes": changes,
        "before": asdict(found.before),
        "after": asdict(found.after),
        "left_out": [row.job.pk for row in found.left_out],
    }


class PlanChances(Endpoint):
    may = {"GET": OFFICE}

    @operation("plan_chances", "How sure the promised dates are with a proposal", gives=rows.ChancesRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        plan = self.own(Plan, pk)
        if plan.state != PlanState.PROPOSED:
            self.absent("This plan is no proposal (any more).")
        found = promise_chances(self.contractor, plan, clock.now())
        return shown(request, rows.ChancesRow({"chances": found}).data)


class PlanIssue(Endpoint):
    may = {"POST": OFFICE}

    @operation("plan_issue", "Accept a proposal: it is issued, calendars follow", gives=rows.PlanRow, match=False)
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        plan = self.own(Plan, pk)
        matched(request, rows.PlanRow(plan).data, needed=False)
        try:
            plan_issue(self.contractor, plan, by=self.who)
        except PlanOutdated as overtaken:
            raise Conflict(" ".join(overtaken.messages)) from overtaken
        return shown(request, rows.PlanRow(self.own(Plan, pk)).data)


class PlanIssueSome(Endpoint):
    may = {"POST": OFFICE}

    @operation(
        "plan_issue_some", "Accept some moves of a proposal; 409 names those that they need",
        takes=bodies.IssueSomeBody, gives=rows.PlanRow, match=False,
    )  # fmt: skip
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        plan = self.own(Plan, pk)
        matched(request, rows.PlanRow(plan).data, needed=False)
        taken = [(str(one["job"]), one["key"]) for one in read(request, bodies.IssueSomeBody)["moves"]]
        try:
            issued = plan_issue_some(self.contractor, plan, taken, by=self.who)
        except MovesNeeded as more:
            named = ", ".join(f"{job} {key}" for job, key in sorted(more.needed))
            raise Conflict(f"{' '.join(more.messages)} Needed as well: {named}.") from more
        except PlanOutdated as overtaken:
            raise Conflict(" ".join(overtaken.messages)) from overtaken
        return shown(request, rows.PlanRow(self.own(Plan, issued.pk)).data)


class PlanSetAside(Endpoint):
    may = {"POST": OFFICE}

    @operation("plan_set_aside", "None of a proposal", gives=rows.PlanRow, match=False)
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        plan = self.own(Plan, pk)
        matched(request, rows.PlanRow(plan).data, needed=False)
        plan_set_aside(plan, by=self.who)
        return shown(request, rows.PlanRow(self.own(Plan, pk)).data)


class RunsAsked(Paged):
    state = serializers.MultipleChoiceField(choices=RunState.choices, required=False)
    branch = serializers.CharField(required=False, max_length=40)


class Runs(Endpoint):
    may = {"GET": OFFICE, "POST": OFFICE}

    @operation("runs_list", "Searches for a plan", gives=rows.RunRow, many=True, filters=RunsAsked)
    def get(self, request: Request) -> Response:
        wanted = asked(request, RunsAsked)
        plain = {"state": "state__in", "branch": "branch"}
        found = PlanRun.objects.filter(**{plain[name]: wanted[name] for name in plain if wanted.get(name)})
        return page(found, wanted, rows.RunRow)

    @operation(
        "plan_ask", "Search for a new proposal; the search that runs already, if one does",
        takes=bodies.RunBody, gives=rows.RunRow, status=202,
    )  # fmt: skip
    def post(self, request: Request) -> Response:
        body = read(request, bodies.RunBody)
        names = branches()
        if body.get("branch", "main") not in names:
            raise ValidationError({"branch": f"Allowed are: {', '.join(names) or 'none yet'}."})
        run = plan_ask(self.contractor, by=self.who, **body)
        return shown(request, rows.RunRow(run).data, 202, Location=reverse("api:run", args=[run.pk]))


class OneRun(Endpoint):
    may = {"GET": OFFICE}

    @operation("run_show", "How a search stands", gives=rows.RunRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        return shown(request, rows.RunRow(self.own(PlanRun, pk)).data)


class RunStop(Endpoint):
    may = {"POST": OFFICE}

    @operation("run_stop", "Stop a search; the best plan so far is kept", gives=rows.RunRow)
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        run_cancel(self.own(PlanRun, pk), by=self.who)
        return shown(request, rows.RunRow(self.own(PlanRun, pk)).data)


class Decisions(Endpoint):
    may = {"GET": OFFICE}

    @operation("decisions_list", "What needs the office, the dearest to leave first", gives=rows.DecisionsRow)
    def get(self, request: Request) -> Response:
        found = decisions(decision_facts(self.contractor, clock.now()), KINDS)
        said = [
            {
                "kind": one.kind,
                "risk": one.risk,
                "why": one.why,
                "measure": one.measure,
                "job": one.job.pk if one.job else None,
                "ways": [f"{way.label}: {way.effect}" for way in one.ways],
            }
            for one in found
        ]
        return shown(request, rows.DecisionsRow({"results": said}).data)


class WeatherAgain(Endpoint):
    may = {"POST": OFFICE}

    @operation("weather_again", "Fetch the weather and compute expected dates again", status=202)
    def post(self, request: Request) -> Response:
        weather_ask(self.who.contractor, clock.now())
        return Response(status=202)
