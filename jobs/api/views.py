"""Jobs, sites, pools, surveys, scopes and the water log."""

from __future__ import annotations

import uuid
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import Q, QuerySet
from django.urls import reverse
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.api import bodies, rows
from jobs.condition.observations import BY_NAME
from jobs.models import Addition, ExpectedDates, Job, JobState, Pool, Scope, Site, Survey, WaterTest
from jobs.selectors.condition import scope_proposed, survey_latest
from jobs.selectors.quantities import firm_rates, job_quantities, scope_latest
from jobs.services.corrections import job_correct
from jobs.services.dates_ask import dates_ask
from jobs.services.first_call import job_open, pool_measure
from jobs.services.scopes import scope_agree
from jobs.services.surveys import observation_record, survey_record
from jobs.services.water import Readings, addition_log, start_up_method_set, water_test_log
from shared import clock
from shared.api.endpoint import Endpoint, operation, read
from shared.api.marks import matched, shown
from shared.api.pages import Paged, asked, page
from shared.models import Firm
from shared.scopes import OFFICE, ON_SITE

OF_JOB = ("site", "pool", "pool_owner")
USUAL_POOL = {
    field.name: field.get_default() for field in Pool._meta.fields if field.name in bodies.PoolBody().get_fields()
}


class JobsAsked(Paged):
    state = serializers.MultipleChoiceField(choices=JobState.choices, required=False)
    q = serializers.CharField(required=False, max_length=80, help_text="Part of a site's name or a pool owner's name.")
    branch = serializers.CharField(required=False, max_length=40)
    promised_from = serializers.DateField(required=False)
    promised_to = serializers.DateField(required=False)
    filled_from = serializers.DateField(required=False)
    filled_to = serializers.DateField(required=False)
    opened_since = serializers.DateTimeField(required=False)


def jobs_asked(wanted: dict[str, Any]) -> QuerySet[Job]:
    found: QuerySet[Job] = Job.objects.select_related(*OF_JOB)
    plain = {
        "state": "state__in",
        "branch": "site__branch",
        "promised_from": "promised_date__gte",
        "promised_to": "promised_date__lte",
        "filled_from": "filled_on__gte",
        "filled_to": "filled_on__lte",
        "opened_since": "created_at__gte",
    }
    found = found.filter(**{plain[name]: value for name, value in wanted.items() if name in plain and value})
    if "q" in wanted:
        found = found.filter(Q(site__label__icontains=wanted["q"]) | Q(pool_owner__name__icontains=wanted["q"]))
    return found


class Jobs(Endpoint):
    may = {"GET": OFFICE, "POST": OFFICE}

    @operation("jobs_list", "Jobs, the newest first", gives=rows.JobRow, many=True, filters=JobsAsked)
    def get(self, request: Request) -> Response:
        wanted = asked(request, JobsAsked)
        return page(jobs_asked(wanted), wanted, rows.JobRow)

    @operation("job_open", "Open a job from a first call", takes=bodies.JobBody, gives=rows.JobRow, status=201)
    def post(self, request: Request) -> Response:
        body = read(request, bodies.JobBody)
        job = job_open(self.contractor, by=self.who, **body)
        dates_ask(self.contractor)
        return shown(request, rows.JobRow(job).data, 201, Location=reverse("api:job", args=[job.pk]))


class OneJob(Endpoint):
    may = {"GET": OFFICE, "PATCH": OFFICE}

    @operation("job_show", "One job", gives=rows.JobRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        return shown(request, rows.JobRow(self.own(Job, pk, *OF_JOB)).data)

    @operation("job_correct", "Correct pool owner, site and work", takes=bodies.JobPatch, gives=rows.JobRow, match=True)
    def patch(self, request: Request, pk: uuid.UUID) -> Response:
        job = self.own(Job, pk, *OF_JOB, lock=True)
        matched(request, rows.JobRow(job).data)
        body = read(request, bodies.JobPatch)
        parts = {name: dict(body.get(name, {})) for name in ("pool_owner", "site", "work")}
        job_correct(job, by=self.who, **parts)
        dates_ask(self.contractor)
        return shown(request, rows.JobRow(self.own(Job, pk, *OF_JOB)).data)


class SitesAsked(Paged):
    branch = serializers.CharField(required=False, max_length=40)


class Sites(Endpoint):
    may = {"GET": ON_SITE}

    @operation("sites_list", "Sites", gives=rows.SiteRow, many=True, filters=SitesAsked)
    def get(self, request: Request) -> Response:
        wanted = asked(request, SitesAsked)
        found = Site.objects.all()
        return page(found.filter(branch=wanted["branch"]) if "branch" in wanted else found, wanted, rows.SiteRow)


class OneSite(Endpoint):
    may = {"GET": ON_SITE}

    @operation("site_show", "One site", gives=rows.SiteRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        return shown(request, rows.SiteRow(self.own(Site, pk)).data)


class PoolsAsked(Paged):
    site = serializers.UUIDField(required=False)


class Pools(Endpoint):
    may = {"GET": ON_SITE}

    @operation("pools_list", "Pools with their figures", gives=rows.PoolRow, many=True, filters=PoolsAsked)
    def get(self, request: Request) -> Response:
        wanted = asked(request, PoolsAsked)
        found = Pool.objects.all()
        return page(found.filter(site_id=wanted["site"]) if "site" in wanted else found, wanted, rows.PoolRow)


class OnePool(Endpoint):
    may = {"GET": ON_SITE, "PUT": OFFICE}

    @operation("pool_show", "One pool with its figures", gives=rows.PoolRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        return shown(request, rows.PoolRow(self.own(Pool, pk)).data)

    @operation("pool_measure", "Replace a pool's measures", takes=bodies.PoolBody, gives=rows.PoolRow, match=True)
    def put(self, request: Request, pk: uuid.UUID) -> Response:
        pool = self.own(Pool, pk, lock=True)
        matched(request, rows.PoolRow(pool).data)
        pool_measure(pool, by=self.who, **{**USUAL_POOL, **read(request, bodies.PoolBody)})
        dates_ask(self.contractor)
        return shown(request, rows.PoolRow(self.own(Pool, pk)).data)


class SurveysAsked(Paged):
    pool = serializers.UUIDField(required=False)
    taken_from = serializers.DateTimeField(required=False)
    taken_to = serializers.DateTimeField(required=False)


class Surveys(Endpoint):
    may = {"GET": OFFICE}

    @operation("surveys_list", "Surveys", gives=rows.SurveyRow, many=True, filters=SurveysAsked)
    def get(self, request: Request) -> Response:
        wanted = asked(request, SurveysAsked)
        plain = {"pool": "pool_id", "taken_from": "taken_at__gte", "taken_to": "taken_at__lte"}
        found = Survey.objects.filter(**{plain[name]: wanted[name] for name in plain if name in wanted})
        return page(found.prefetch_related("observations"), wanted, rows.SurveyRow)


class OneSurvey(Endpoint):
    may = {"GET": OFFICE}

    @operation("survey_show", "One survey and what it says", gives=rows.SurveyRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        return shown(request, rows.SurveyRow(self.own(Survey, pk)).data)


class JobSurveys(Endpoint):
    may = {"POST": OFFICE}

    @operation("survey_record", "Record a survey", takes=bodies.SurveyBody, gives=rows.SurveyRow, status=201)
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        job = self.own(Job, pk, "pool")
        body = read(request, bodies.SurveyBody)
        at, dry = body.get("taken_at", clock.now()), body.get("dry", False)
        unknown = sorted(set(body["answers"]) - set(BY_NAME))
        if unknown:
            raise serializers.ValidationError(
                {"answers": {key: ["No observation has this name."] for key in unknown[:20]}}
            )
        if at > clock.now():
            raise ValidationError({"taken_at": "A survey is taken before now."})
        survey = survey_record(job.pool, answers=body["answers"], by=self.who, at=at, dry=dry)
        return shown(request, rows.SurveyRow(survey).data, 201, Location=reverse("api:survey", args=[survey.pk]))


class OneObservation(Endpoint):
    may = {"PUT": OFFICE}

    @operation(
        "observation_record", "Answer one question of a survey",
        takes=bodies.ObservationBody, gives=rows.SurveyRow, match=True,
    )  # fmt: skip
    def put(self, request: Request, pk: uuid.UUID, name: str) -> Response:
        survey = self.own(Survey, pk, lock=True)
        matched(request, rows.SurveyRow(survey).data)
        value = read(request, bodies.ObservationBody)["value"]
        if name not in BY_NAME:
            self.absent("No observation has this name.")
        if BY_NAME[name].needs_empty_pool and not survey.dry and value is not None:
            raise ValidationError({"value": "This is looked at in the empty pool: begin a dry survey first."})
        observation_record(survey, name=name, value=value, by=self.who, at=clock.now())
        return shown(request, rows.SurveyRow(self.own(Survey, pk)).data)


class JobScope(Endpoint):
    may = {"GET": OFFICE, "POST": OFFICE}

    @operation("scope_show", "The scope that is agreed", gives=rows.ScopeRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        scope = scope_latest(self.own(Job, pk))
        if scope is None:
            return self.absent("No scope is agreed yet.")
        return shown(request, rows.ScopeRow(scope).data)

    @operation("scope_agree", "Agree the scope", takes=bodies.ScopeBody, gives=rows.ScopeRow, status=201)
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        scope = scope_agree(self.own(Job, pk, *OF_JOB), by=self.who, **read(request, bodies.ScopeBody))
        dates_ask(self.contractor)
        return shown(request, rows.ScopeRow(scope).data, 201)


class JobScopeProposed(Endpoint):
    may = {"GET": OFFICE}

    @operation("scope_proposed", "The scope that the survey asks for", gives=rows.ProposedScope)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        job = self.own(Job, pk, "pool")
        survey = survey_latest(job.pool)
        if survey is None:
            return self.absent("The pool is not surveyed yet.")
        found = scope_proposed(job, survey)
        names = [name for name in rows.ProposedScope().get_fields() if name != "survey"]
        said = {"survey": survey.pk, **{name: getattr(found, name) for name in names}}
        return shown(request, rows.ProposedScope(said).data)


class JobQuantities(Endpoint):
    may = {"GET": OFFICE}

    @operation("quantities_show", "What the agreed scope needs", gives=rows.QuantitiesRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        job = self.own(Job, pk, *OF_JOB)
        scope = scope_latest(job)
        if scope is None:
            return self.absent("No scope is agreed yet.")
        return shown(request, rows.quantities_shown(job_quantities(job, scope, firm_rates(Firm.objects.get()))))


class JobDates(Endpoint):
    may = {"GET": OFFICE}

    @operation("dates_show", "Expected dates and the fill band", gives=rows.ExpectedRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        found = ExpectedDates.objects.filter(job=self.own(Job, pk)).first()
        if found is None:
            return self.absent("Nothing is computed yet: agree a scope first.")
        return shown(request, rows.ExpectedRow(found).data)


class LogsAsked(Paged):
    job = serializers.UUIDField(required=False)
    at_from = serializers.DateTimeField(required=False)
    at_to = serializers.DateTimeField(required=False)


def logged(model: Any, wanted: dict[str, Any]) -> Any:
    plain = {"job": "job_id", "at_from": "at__gte", "at_to": "at__lte", "kind": "kind"}
    return model.objects.filter(**{plain[name]: wanted[name] for name in plain if name in wanted})


class WaterTests(Endpoint):
    may = {"GET": ON_SITE}

    @operation("water_tests_list", "Water tests", gives=rows.WaterTestRow, many=True, filters=LogsAsked)
    def get(self, request: Request) -> Response:
        wanted = asked(request, LogsAsked)
        return page(logged(WaterTest, wanted), wanted, rows.WaterTestRow)


class JobWaterTests(Endpoint):
    may = {"POST": ON_SITE}

    @operation(
        "water_test_log", "Log a water test; 200 where its client id was taken before",
        takes=bodies.WaterTestBody, gives=rows.WaterTestRow, status=201, again=True,
    )  # fmt: skip
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        job = self.own(Job, pk, *OF_JOB)
        body = read(request, bodies.WaterTestBody)
        once = {"by": self.who, "at": body.pop("at", None), "client_id": body.pop("client_id")}
        of = body.pop("of", "pool")
        test, new = water_test_log(job, Readings(**body), of=of, **once)
        return shown(request, rows.WaterTestRow(self.of_job(test, job)).data, 201 if new else 200)


class Additions(Endpoint):
    may = {"GET": ON_SITE}

    @operation("additions_list", "Additions to the water", gives=rows.AdditionRow, many=True, filters=LogsAsked)
    def get(self, request: Request) -> Response:
        wanted = asked(request, LogsAsked)
        return page(logged(Addition, wanted), wanted, rows.AdditionRow)


class JobAdditions(Endpoint):
    may = {"POST": ON_SITE}

    @operation(
        "addition_log", "Log an addition; 200 where its client id was taken before",
        takes=bodies.AdditionBody, gives=rows.AdditionRow, status=201, again=True,
    )  # fmt: skip
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        job = self.own(Job, pk, *OF_JOB)
        row, new = addition_log(job, by=self.who, **read(request, bodies.AdditionBody))
        return shown(request, rows.AdditionRow(self.of_job(row, job)).data, 201 if new else 200)


class JobStartUpMethod(Endpoint):
    may = {"PUT": ON_SITE}

    @operation("start_up_method", "Choose the start-up method", takes=bodies.MethodBody, status=204)
    def put(self, request: Request, pk: uuid.UUID) -> Response:
        start_up_method_set(self.own(Job, pk, *OF_JOB), read(request, bodies.MethodBody)["method"], by=self.who)
        return Response(status=204)


class JobScopes(Endpoint):
    may = {"GET": OFFICE}

    @operation("scopes_list", "Every scope that was agreed", gives=rows.ScopeRow, many=True, filters=Paged)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        wanted = asked(request, Paged)
        return page(Scope.objects.filter(job=self.own(Job, pk)), wanted, rows.ScopeRow)
