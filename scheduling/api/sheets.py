"""The sheets used on site: a crew's days, plaster day, fill, first month of water, as data."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.api.rows import JobRow
from jobs.models import Job
from jobs.services.water import acid_sign
from scheduling.api import sheet_rows as rows
from scheduling.selectors.crews import crews_at_work
from scheduling.selectors.fill_watch import fill_sheet
from scheduling.selectors.plaster_day import plaster_sheet
from scheduling.selectors.start_up import start_up_sheet
from scheduling.selectors.today import crew_notes, crews_of, week_note
from shared import clock
from shared.api.endpoint import Endpoint, operation, read
from shared.api.fields import Asked, Day, Id, In, Text
from shared.api.marks import matched, shown
from shared.api.pages import asked
from shared.models import Firm
from shared.scopes import OFFICE, ON_SITE

OF_JOB = ("site", "pool", "pool_owner")
MOST_AHEAD_DAYS = 366


class PlasterDay(Endpoint):
    may = {"GET": ON_SITE}

    @operation("plaster_day_show", "The plaster day: sections and trowel passes as clock times",
               gives=rows.PlasterDayRow)  # fmt: skip
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        job = self.own(Job, pk, *OF_JOB)
        return shown(request, rows.PlasterDayRow(plaster_sheet(job, Firm.objects.get(), clock.now())).data)


class Fill(Endpoint):
    may = {"GET": ON_SITE}

    @operation("fill_show", "When the pool is full, and who must be there", gives=rows.FillRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        return shown(request, rows.FillRow(fill_sheet(self.own(Job, pk, *OF_JOB), clock.now())).data)


class StartUp(Endpoint):
    may = {"GET": ON_SITE}

    @operation("start_up_show", "The first month of water: what to do now, what waits for what", gives=rows.StartUpRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        return shown(request, rows.StartUpRow(start_up_sheet(self.own(Job, pk, *OF_JOB), clock.now())).data)


class AcidBody(In):
    EXAMPLE = {
        "client_id": "0195f3b2-0000-7000-8000-00000000a009",
        "signed_by": "the manager",
        "signed_on": "2026-05-01",
        "instruction": "sheet 4 of the maker of the finish",
    }

    client_id = Id(help_text="Made by the sender; each is taken once.")
    signed_by = Text(max_length=120)
    signed_on = Day()
    instruction = Text(max_length=300, help_text="Written instruction of the finish's maker.")


class JobAcidStartUp(Endpoint):
    may = {"POST": OFFICE}

    @operation(
        "acid_sign", "Sign for the contested acid start-up; nothing is computed for it and nobody is advised to it",
        takes=AcidBody, gives=JobRow, match=False,
    )  # fmt: skip
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        job = self.own(Job, pk, *OF_JOB, lock=True)
        matched(request, JobRow(job).data, needed=False)
        acid_sign(job, by=self.who, **read(request, AcidBody))
        return shown(request, JobRow(self.own(Job, pk, *OF_JOB)).data)


class CrewAsked(Asked):
    crew = serializers.UUIDField(required=False, help_text="None: the crews that one leads; for the office, all.")


class WeekAsked(CrewAsked):
    first = serializers.DateField(required=False, help_text="Seven days from this one on; none: from today.")


class OfCrews(Endpoint):
    def crews(self, wanted: dict[str, Any]) -> list[Any]:
        """The crew that is asked for, those one leads, or all of them for the office."""
        asked_for = str(wanted.get("crew", ""))
        led = [crew for crew in crews_of(self.who, asked_for) if asked_for in ("", str(crew.pk))]
        if asked_for and not led:
            self.absent("There is no such crew, or somebody else leads it.")
        return led or (list(crews_at_work()) if self.who.is_office else [])


class Today(OfCrews):
    may = {"GET": ON_SITE}

    @operation("today_show", "Today and tomorrow of crews", gives=rows.CrewNotesRow, filters=CrewAsked)
    def get(self, request: Request) -> Response:
        crews = self.crews(asked(request, CrewAsked))
        notes = crew_notes(crews, Firm.objects.get(), self.contractor.tz, clock.now())
        return shown(request, rows.CrewNotesRow({"results": notes}).data)


class Week(OfCrews):
    may = {"GET": ON_SITE}

    @operation("week_show", "Seven days of crews", gives=rows.CrewNotesRow, filters=WeekAsked)
    def get(self, request: Request) -> Response:
        wanted = asked(request, WeekAsked)
        today = clock.now().astimezone(self.contractor.tz).date()
        first: dt.date = wanted.get("first", today)
        if abs((first - today).days) > MOST_AHEAD_DAYS:
            raise serializers.ValidationError({"first": [f"Allowed are {MOST_AHEAD_DAYS} days back and ahead."]})
        firm = Firm.objects.get()
        notes = [week_note(crew, firm, self.contractor.tz, first) for crew in self.crews(wanted)]
        return shown(request, rows.CrewNotesRow({"results": notes}).data)
