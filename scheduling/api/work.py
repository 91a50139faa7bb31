"""Stints, what is logged on site, and what the office says of a job's days."""

from __future__ import annotations

import uuid
from typing import Any

from django.core.exceptions import ValidationError
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.api.rows import JobRow
from jobs.models import Job, LogKind, SiteLog
from jobs.services.states import date_promise
from scheduling.api import bodies, rows
from scheduling.models import Stage, Stint, StintState
from scheduling.selectors.fill_watch import fill_sheet
from scheduling.selectors.plaster_day import plaster_sheet
from scheduling.services.call_off import job_call_off
from scheduling.services.groundwater import groundwater_record
from scheduling.services.plans import stint_keep, stint_mark, stint_undone
from scheduling.services.site_work import pool_full, site_log, work_done
from scheduling.tasks import expected_dates_task
from shared import clock
from shared.api.endpoint import Endpoint, operation, read
from shared.api.marks import matched, shown
from shared.api.pages import Paged, asked, page
from shared.models import Firm
from shared.scopes import OFFICE, ON_SITE

OF_STINT = ("job__site", "job__pool", "job__pool_owner", "crew")
OF_JOB = ("site", "pool", "pool_owner")


class StintsAsked(Paged):
    state = serializers.MultipleChoiceField(choices=StintState.choices, required=False)
    stage = serializers.ChoiceField(choices=Stage.choices, required=False)
    job = serializers.UUIDField(required=False)
    crew = serializers.UUIDField(required=False)
    plan = serializers.UUIDField(required=False)
    ends_after = serializers.DateTimeField(required=False)
    starts_before = serializers.DateTimeField(required=False)


class Stints(Endpoint):
    may = {"GET": ON_SITE}

    @operation("stints_list", "Stints", gives=rows.StintRow, many=True, filters=StintsAsked)
    def get(self, request: Request) -> Response:
        wanted = asked(request, StintsAsked)
        plain = {
            "state": "state__in",
            "stage": "stage",
            "job": "job_id",
            "crew": "crew_id",
            "plan": "plan_id",
            "ends_after": "ends__gt",
            "starts_before": "starts__lt",
        }
        found = Stint.objects.filter(**{plain[name]: wanted[name] for name in plain if wanted.get(name)})
        return page(found.select_related("job__site"), wanted, rows.StintRow)


class OneStint(Endpoint):
    may = {"GET": ON_SITE}

    @operation("stint_show", "One stint", gives=rows.StintRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        return shown(request, rows.StintRow(self.own(Stint, pk, *OF_STINT)).data)


class StintKeep(Endpoint):
    may = {"PUT": OFFICE}

    @operation("stint_keep", "Keep this day, or let it move", takes=bodies.KeepBody, gives=rows.StintRow, match=True)
    def put(self, request: Request, pk: uuid.UUID) -> Response:
        found = self.own(Stint, pk, *OF_STINT)
        matched(request, rows.StintRow(found).data)
        stint_keep(found, kept=read(request, bodies.KeepBody)["kept"], by=self.who)
        return shown(request, rows.StintRow(self.own(Stint, pk, *OF_STINT)).data)


class StintMark(Endpoint):
    may = {"POST": OFFICE}

    @operation("stint_mark", "Begun, done, or not done", takes=bodies.MarkBody, gives=rows.StintRow, match=False)
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        found = self.own(Stint, pk, *OF_STINT)
        matched(request, rows.StintRow(found).data, needed=False)
        body = read(request, bodies.MarkBody)
        if body["state"] == "undone":
            why = body.get("why", "").strip()
            if not why:
                raise ValidationError({"why": "Say in a few words why it did not happen."})
            stint_undone(found, by=self.who, why=why)
        else:
            at = not_ahead(body.get("at"))
            stint_mark(found, StintState(body["state"]), at=at, by=self.who, hours=body.get("hours"))
        return shown(request, rows.StintRow(self.own(Stint, pk, *OF_STINT)).data)


class StintDone(Endpoint):
    may = {"POST": ON_SITE}

    @operation(
        "stint_done", "Log a stint as done; 200 where its client id was taken before",
        takes=bodies.DoneBody, gives=rows.LogRow, status=201, again=True,
    )  # fmt: skip
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        found = self.own(Stint, pk, *OF_STINT)
        body = read(request, bodies.DoneBody)
        entry, new = work_done(
            found, hours=body.get("hours"), by=self.who, at=not_ahead(body.get("at")), client_id=body["client_id"]
        )
        return shown(request, rows.LogRow(self.of_job(entry, found.job)).data, 201 if new else 200)


class LogsAsked(Paged):
    job = serializers.UUIDField(required=False)
    kind = serializers.ChoiceField(choices=LogKind.choices, required=False)
    at_from = serializers.DateTimeField(required=False)
    at_to = serializers.DateTimeField(required=False)


class Logs(Endpoint):
    may = {"GET": ON_SITE}

    @operation("logs_list", "What was logged on site", gives=rows.LogRow, many=True, filters=LogsAsked)
    def get(self, request: Request) -> Response:
        wanted = asked(request, LogsAsked)
        plain = {"job": "job_id", "kind": "kind", "at_from": "at__gte", "at_to": "at__lte"}
        found = SiteLog.objects.filter(**{plain[name]: wanted[name] for name in plain if name in wanted})
        return page(found, wanted, rows.LogRow)


class JobLogs(Endpoint):
    may = {"POST": ON_SITE}

    @operation(
        "log_take", "Log what was done, found or measured; 200 where its client id was taken before",
        takes=bodies.LogBody, gives=rows.LogRow, status=201, again=True,
    )  # fmt: skip
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        job = self.own(Job, pk, *OF_JOB)
        body = read(request, bodies.LogBody)
        stint_id = body.get("stint_id")
        if stint_id is not None and not Stint.objects.filter(pk=stint_id, job=job).exists():
            raise ValidationError({"stint_id": "This is no stint of the job."})
        before = self._why_not(body["kind"], job)
        entry, new = site_log(
            job,
            kind=body["kind"],
            by=self.who,
            at=not_ahead(body.get("at")),
            data=body.get("data"),
            client_id=body["client_id"],
            stint_id=stint_id,
        )
        after = self._why_not(body["kind"], job)
        if after and not before:
            raise ValidationError({"data": after})
        return shown(request, rows.LogRow(self.of_job(entry, job)).data, 201 if new else 200)

    def _why_not(self, kind: str, job: Job) -> str:
        """What the timeline cannot take of what is kept; the entry that brings it about is refused."""
        if kind == LogKind.LEVEL:
            return str(fill_sheet(job, clock.now()).why_not)
        if kind == LogKind.READING:
            return str(plaster_sheet(job, Firm.objects.get(), clock.now()).why_not)
        return ""


class JobFull(Endpoint):
    may = {"POST": ON_SITE}

    @operation(
        "pool_full", "The pool is full; 200 where its client id was taken before",
        takes=bodies.FullBody, gives=rows.LogRow, status=201, again=True,
    )  # fmt: skip
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        job = self.own(Job, pk, *OF_JOB)
        body = read(request, bodies.FullBody)
        entry, new = pool_full(job, by=self.who, at=not_ahead(body.get("at")), client_id=body["client_id"])
        return shown(request, rows.LogRow(self.of_job(entry, job)).data, 201 if new else 200)


class JobGroundwater(Endpoint):
    may = {"POST": OFFICE}

    @operation(
        "groundwater_record",
        "Record the groundwater before a drain",
        takes=bodies.GroundwaterBody,
        gives=rows.DrainRow,
        tag=False,
    )
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        job = self.own(Job, pk, *OF_JOB)
        body: dict[str, Any] = read(request, bodies.GroundwaterBody)
        if body.get("opinion_by") and "opinion_on" not in body:
            raise ValidationError({"opinion_on": "A licensed opinion needs its date."})
        if "opinion_on" in body:
            today = clock.now().astimezone(job.site.tz).date()
            if not 0 <= (today - body["opinion_on"]).days <= 30:
                raise ValidationError({"opinion_on": "Allowed are the last 30 days, until today."})
            body["opinion_on"] = body["opinion_on"].isoformat()
        return Response({"released": groundwater_record(self.contractor, job, by=self.who, data=body)})


class JobPromise(Endpoint):
    may = {"POST": OFFICE}

    @operation("date_promise", "Promise a fill day", takes=bodies.PromiseBody, gives=JobRow, match=False)
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        job = self.own(Job, pk, *OF_JOB, lock=True)
        matched(request, JobRow(job).data, needed=False)
        day = read(request, bodies.PromiseBody)["day"]
        if (day - clock.now().astimezone(job.site.tz).date()).days > 730:
            raise ValidationError({"day": "A date can be promised two years ahead at most."})
        date_promise(job, day=day, by=self.who)
        return shown(request, JobRow(self.own(Job, pk, *OF_JOB)).data)


class JobCallOff(Endpoint):
    may = {"POST": OFFICE}

    @operation("job_call_off", "Call a job off", takes=bodies.CallOffBody, gives=JobRow, match=False)
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        job = self.own(Job, pk, *OF_JOB, lock=True)
        matched(request, JobRow(job).data, needed=False)
        job_call_off(self.contractor, job, by=self.who, why=read(request, bodies.CallOffBody)["why"])
        expected_dates_task.delay_on_commit(str(self.who.contractor_id))
        return shown(request, JobRow(self.own(Job, pk, *OF_JOB)).data)


def not_ahead(at: Any) -> Any:
    """When it happened: now where nothing is said, never ahead of now, two months back at most."""
    now = clock.now()
    if at is None:
        return now
    if (at - now).total_seconds() > 600 or (now - at).days > 60:
        raise ValidationError({"at": "The time lies in the future or more than 60 days back; allowed is up to now."})
    return at
