"""The firm: crews, absences, settings, calendar links."""

from __future__ import annotations

import uuid
from typing import Any

from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404
from django.urls import reverse
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.timeline.limits import LIMIT_CATALOGUE
from scheduling.api import bodies, rows
from scheduling.models import Absence, Crew
from scheduling.services import crews, links
from scheduling.services.firm_settings import firm_change, limits_set, rates_set
from scheduling.tasks import expected_dates_task
from shared.api.endpoint import Endpoint, operation, read
from shared.api.marks import matched, shown
from shared.api.pages import Paged, asked, page
from shared.models import AccessToken, Firm, Membership
from shared.scopes import MANAGER, OFFICE

OF_A_JOB = "pool_owner"


class CrewsAsked(Paged):
    branch = serializers.CharField(required=False, max_length=40)
    active = serializers.BooleanField(required=False, allow_null=True, default=None)


class Crews(Endpoint):
    may = {"GET": OFFICE, "POST": MANAGER}

    @operation("crews_list", "Crews with their weekly shifts", gives=rows.CrewRow, many=True, filters=CrewsAsked)
    def get(self, request: Request) -> Response:
        wanted = asked(request, CrewsAsked)
        found = Crew.objects.prefetch_related("shifts")
        chosen = {name: wanted[name] for name in ("branch", "active") if wanted.get(name) is not None}
        return page(found.filter(**chosen), wanted, rows.CrewRow)

    @operation("crew_make", "A new crew", takes=bodies.CrewBody, gives=rows.CrewRow, status=201)
    def post(self, request: Request) -> Response:
        body = _crew(read(request, bodies.CrewBody))
        lead, active = body.pop("lead", None), body.pop("active", True)
        made = crews.crew_make(**body, by=self.who)
        if lead is not None or not active:
            crews.crew_change(made, **{"branch": made.branch, **body}, lead=lead, active=active, by=self.who)
        return shown(request, self._row(made.pk), 201, Location=reverse("api:crew", args=[made.pk]))

    def _row(self, pk: uuid.UUID) -> Any:
        expected_dates_task.delay_on_commit(str(self.who.contractor_id))
        return rows.CrewRow(self.own(Crew, pk)).data


class OneCrew(Endpoint):
    may = {"GET": OFFICE, "PUT": MANAGER}

    @operation("crew_show", "One crew", gives=rows.CrewRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        return shown(request, rows.CrewRow(self.own(Crew, pk)).data)

    @operation(
        "crew_change", "Replace a crew's facts and shifts", takes=bodies.CrewBody, gives=rows.CrewRow, match=True
    )
    def put(self, request: Request, pk: uuid.UUID) -> Response:
        found = self.own(Crew, pk, lock=True)
        matched(request, rows.CrewRow(found).data)
        body = {"branch": found.branch, "lead": None, "active": True, **_crew(read(request, bodies.CrewBody))}
        crews.crew_change(found, **body, by=self.who)
        expected_dates_task.delay_on_commit(str(self.who.contractor_id))
        return shown(request, rows.CrewRow(self.own(Crew, pk)).data)


def _crew(body: dict[str, Any]) -> dict[str, Any]:
    """The services' arguments: shifts as triples, the lead as a member of the firm."""
    body["shifts"] = [(one["weekday"], one["from_min"], one["to_min"]) for one in body["shifts"]]
    if body.get("lead") is not None:
        lead = Membership.objects.filter(pk=body["lead"], active=True).first()
        if lead is None:
            raise ValidationError({"lead": "This is no member of the firm."})
        body["lead"] = lead
    return body


class AbsencesAsked(Paged):
    crew = serializers.UUIDField(required=False)
    until = serializers.DateField(required=False, help_text="Begins on this day or before.")
    since = serializers.DateField(required=False, help_text="Ends on this day or later.")


class Absences(Endpoint):
    may = {"GET": OFFICE}

    @operation("absences_list", "Absences of crews", gives=rows.AbsenceRow, many=True, filters=AbsencesAsked)
    def get(self, request: Request) -> Response:
        wanted = asked(request, AbsencesAsked)
        plain = {"crew": "crew_id", "until": "first_day__lte", "since": "last_day__gte"}
        found = Absence.objects.filter(**{plain[name]: wanted[name] for name in plain if name in wanted})
        return page(found, wanted, rows.AbsenceRow)


class CrewAbsences(Endpoint):
    may = {"POST": OFFICE}

    @operation("absence_note", "Days on which a crew does not work", takes=bodies.AbsenceBody, gives=rows.AbsenceRow,
               status=201)  # fmt: skip
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        crew = self.own(Crew, pk)
        made = crews.absence_note(crew, by=self.who, **{"reason": "", **read(request, bodies.AbsenceBody)})
        expected_dates_task.delay_on_commit(str(self.who.contractor_id))
        where = reverse("api:absence", args=[made.pk])
        return shown(request, rows.AbsenceRow(made).data, 201, Location=where)


class OneAbsence(Endpoint):
    may = {"GET": OFFICE, "DELETE": OFFICE}

    @operation("absence_show", "One absence", gives=rows.AbsenceRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        return shown(request, rows.AbsenceRow(self.own(Absence, pk)).data)

    @operation("absence_end", "The crew works on those days after all", status=204, match=True)
    def delete(self, request: Request, pk: uuid.UUID) -> Response:
        found = self.own(Absence, pk, "crew", lock=True)
        matched(request, rows.AbsenceRow(found).data)
        crews.absence_end(found, by=self.who)
        expected_dates_task.delay_on_commit(str(self.who.contractor_id))
        return Response(status=204)


class OfFirm(Endpoint):
    def locked(self, request: Request) -> Firm:
        firm = Firm.objects.select_for_update(no_key=True).get()
        matched(request, rows.FirmRow(firm).data)
        return firm

    def kept(self, request: Request) -> Response:
        expected_dates_task.delay_on_commit(str(self.who.contractor_id))
        return shown(request, rows.FirmRow(Firm.objects.get()).data)


class FirmSettings(OfFirm):
    may = {"GET": OFFICE, "PATCH": MANAGER}

    @operation("firm_show", "Units, contact, equipment, limits, rates", gives=rows.FirmRow)
    def get(self, request: Request) -> Response:
        return shown(request, rows.FirmRow(Firm.objects.get()).data)

    @operation(
        "firm_change", "Change units, contact, equipment or weights",
        takes=bodies.FirmPatch, gives=rows.FirmRow, match=True,
    )  # fmt: skip
    def patch(self, request: Request) -> Response:
        firm_change(self.locked(request), by=self.who, **read(request, bodies.FirmPatch))
        return self.kept(request)


class FirmLimits(OfFirm):
    may = {"PUT": MANAGER}

    @operation(
        "limits_set", "Replace the firm's own weather limits; hard ones may only be tightened",
        takes=bodies.LimitsBody, gives=rows.FirmRow, match=True,
    )  # fmt: skip
    def put(self, request: Request) -> Response:
        usual = {name: limit.default for name, limit in LIMIT_CATALOGUE.items()}
        limits_set(self.locked(request), {**usual, **read(request, bodies.LimitsBody)}, by=self.who)
        return self.kept(request)


class FirmRates(OfFirm):
    may = {"PUT": MANAGER}

    @operation(
        "rates_set", "Replace the firm's own production rates",
        takes=bodies.RatesBody, gives=rows.FirmRow, match=True,
    )  # fmt: skip
    def put(self, request: Request) -> Response:
        rates_set(self.locked(request), read(request, bodies.RatesBody), by=self.who)
        return self.kept(request)


class LinksAsked(Paged):
    purpose = serializers.ChoiceField(choices=[(name, name) for name in ("pool_owner", "crew", "firm", "doubt")],
                                      required=False)  # fmt: skip
    subject_id = serializers.UUIDField(required=False)


class Links(Endpoint):
    may = {"GET": OFFICE, "POST": OFFICE}

    @operation("links_list", "Calendar links and private links", gives=rows.LinkRow, many=True, filters=LinksAsked)
    def get(self, request: Request) -> Response:
        wanted = asked(request, LinksAsked)
        chosen = {name: wanted[name] for name in ("purpose", "subject_id") if name in wanted}
        found = AccessToken.objects.filter(kind__in=[kind for kind, _ in links.ALLOWED], revoked_at=None, **chosen)
        if not self.who.is_manager:
            found = found.filter(purpose=OF_A_JOB)
        return page(found, wanted, rows.LinkRow)

    @operation("link_make", "The living link of this purpose, made where there is none",
               takes=bodies.LinkBody, gives=rows.LinkRow, status=201, secret=True)  # fmt: skip
    def post(self, request: Request) -> Response:
        body = read(request, bodies.LinkBody)
        may_link(self.who, body["purpose"])
        made = links.link_make(body["kind"], body["purpose"], body.get("subject_id"), by=self.who)
        return shown(request, rows.LinkRow(made).data, 201, Location=reverse("api:link", args=[made.pk]))


class Living(Endpoint):
    def living(self, pk: uuid.UUID, *, lock: bool = False) -> AccessToken:
        found = self.own(AccessToken, pk, lock=lock)
        if (found.kind, found.purpose) not in links.ALLOWED or found.revoked_at is not None:
            raise Http404
        may_link(self.who, found.purpose)
        return found


class OneLink(Living):
    may = {"GET": OFFICE, "DELETE": OFFICE}

    @operation("link_show", "One link", gives=rows.LinkRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        return shown(request, rows.LinkRow(self.living(pk)).data)

    @operation("link_revoke", "End a link", status=204, match=True)
    def delete(self, request: Request, pk: uuid.UUID) -> Response:
        found = self.living(pk, lock=True)
        matched(request, rows.LinkRow(found).data)
        links.link_revoke(found, by=self.who)
        return Response(status=204)


class LinkRotate(Living):
    may = {"POST": OFFICE}

    @operation(
        "link_rotate", "A new address; the old one opens nothing any more", gives=rows.LinkRow, match=False, secret=True
    )
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        found = self.living(pk, lock=True)
        matched(request, rows.LinkRow(found).data, needed=False)
        return shown(request, rows.LinkRow(links.link_rotate(found, by=self.who)).data)


class LinkAlarm(Living):
    may = {"PUT": OFFICE}

    @operation(
        "link_alarm", "When calendars that read this link ring", takes=bodies.AlarmBody, gives=rows.LinkRow, match=True
    )
    def put(self, request: Request, pk: uuid.UUID) -> Response:
        found = self.living(pk, lock=True)
        matched(request, rows.LinkRow(found).data)
        return shown(
            request, rows.LinkRow(links.link_alarm(found, **read(request, bodies.AlarmBody), by=self.who)).data
        )


def may_link(who: Membership, purpose: str) -> None:
    """The office looks after the links of its jobs, a manager after those of crews and firm."""
    if purpose != OF_A_JOB and not who.is_manager:
        raise PermissionDenied
