"""Which fill day may be told to a pool owner, and where the job would go in the plan in force."""

from __future__ import annotations

import uuid
from dataclasses import asdict
from typing import Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.api.rows import JobRow
from jobs.models import Job
from jobs.services.pool_owners import fill_day_answer
from scheduling.selectors.date_offer import date_offers, offer
from scheduling.selectors.job_dates import job_dates
from scheduling.services.date_plans import date_plans
from shared import clock
from shared.api.endpoint import Endpoint, operation
from shared.api.fields import Asked
from shared.api.marks import matched, shown
from shared.api.pages import asked
from shared.models import Firm
from shared.scopes import OFFICE

OF_JOB = ("site", "pool", "pool_owner")
FARTHEST_DAYS = 730


class OfferRow(serializers.Serializer[Any]):
    """A date to tell: the chance that the pool is full by then, what to say, what it asks of the others."""

    words = serializers.CharField()
    day = serializers.DateField()
    chance = serializers.FloatField()
    sentence = serializers.CharField()
    others = serializers.CharField()


class OffersRow(serializers.Serializer[Any]):
    offers = OfferRow(many=True)
    planned = serializers.DateField(allow_null=True, help_text="Fill day of the plan in force.")
    later = serializers.FloatField(help_text="Chance that it is later than what is computed.")


class OffersAsked(Asked):
    day = serializers.DateField(required=False, help_text="A day to be told of as well.")


class JobOffers(Endpoint):
    may = {"GET": OFFICE}

    @operation("date_offers_show", "Which fill days may be told, and how sure each is", gives=OffersRow,
               filters=OffersAsked)  # fmt: skip
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        job = self.own(Job, pk, *OF_JOB)
        day = asked(request, OffersAsked).get("day")
        units = Firm.objects.values_list("units", flat=True).get()
        dates = job_dates(job, units) if job.fill_ahead else None
        if dates is None:
            return self.absent("Nothing is computed, or the fill is over.")
        if day is not None:
            today = clock.now().astimezone(job.site.tz).date()
            if not 0 <= (day - today).days <= FARTHEST_DAYS:
                raise serializers.ValidationError({"day": ["Allowed is today to two years ahead."]})
        found = date_offers(job, dates)
        listed = list(found.offers)
        if day is not None and day not in {one.day for one in listed}:
            listed.append(offer(job, dates, day, "your day", found.planned))
        said = {
            "offers": [{**asdict(one), "words": str(one.words)} for one in sorted(listed, key=lambda one: one.day)],
            "planned": found.planned,
            "later": found.later,
        }
        return shown(request, OffersRow(said).data)


class ToldRow(serializers.Serializer[Any]):
    share = serializers.FloatField()
    day = serializers.DateField(allow_null=True)
    sentence = serializers.CharField()


class WayRow(serializers.Serializer[Any]):
    """One way to take the job into the plan in force."""

    planned = serializers.DateField()
    plaster = serializers.DateTimeField(allow_null=True)
    moves_others = serializers.BooleanField()
    cost = serializers.CharField()
    pushes = serializers.ListField(child=serializers.CharField())
    told = ToldRow(many=True)


class DatePlansRow(serializers.Serializer[Any]):
    """Without moving anybody (null: no room), and with others giving way."""

    free = WayRow(allow_null=True)
    others = WayRow(many=True)
    why_not = serializers.CharField()
    already = serializers.BooleanField(help_text="The job has stints in force; they are planned anew here.")


class JobDatePlans(Endpoint):
    may = {"GET": OFFICE}

    @operation("date_plans_show", "Where the job would go in the plan in force", gives=DatePlansRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        job = self.own(Job, pk, *OF_JOB)
        units = Firm.objects.values_list("units", flat=True).get()
        found = date_plans(self.contractor, job, clock.now(), units) if job.fill_ahead else None
        if found is None:
            return self.absent("The job has no expected dates, or its fill has begun.")
        return shown(request, DatePlansRow(asdict(found)).data)


class JobRung(Endpoint):
    may = {"POST": OFFICE}

    @operation("fill_day_rung", "The office rang: someone will be there on the fill day", gives=JobRow, match=False)
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        job = self.own(Job, pk, *OF_JOB, lock=True)
        matched(request, JobRow(job).data, needed=False)
        fill_day_answer(job, someone_home=True, by=f"{self.who.person.name}, by telephone")
        return shown(request, JobRow(self.own(Job, pk, *OF_JOB)).data)
