from __future__ import annotations

import uuid
from typing import Final, Protocol

from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from jobs.forms.measures import service_errors
from jobs.forms.sentences import in_units
from jobs.models import Job, LogKind, SiteLog
from jobs.selectors.water_level import deepest_m
from jobs.spoken import spoken
from scheduling.forms_site import FULL, LOG_FORMS, SiteForm
from scheduling.selectors.fill_doubts import before_the_water, hardly_full
from scheduling.selectors.fill_watch import fill_sheet
from scheduling.selectors.plaster_day import plaster_sheet
from scheduling.services.site_work import pool_full, site_log
from scheduling.views import fill_watch, plaster_day, start_up
from scheduling.views.on_site import job_on_site, site_page
from shared import clock
from shared.models import Firm, Membership

MEASURED: Final[dict[str, str]] = {LogKind.LEVEL: "below_full_mm", LogKind.READING: "material_c"}


class Page(Protocol):
    def __call__(
        self,
        request: HttpRequest,
        who: Membership,
        job: Job,
        firm: Firm,
        bound: dict[str, SiteForm] | None = None,
        status: int = 200,
    ) -> HttpResponse: ...


PAGES: Final[dict[str, tuple[str, Page]]] = {
    LogKind.LAID: ("plaster-day", plaster_day.page),
    LogKind.PASS: ("plaster-day", plaster_day.page),
    LogKind.READING: ("plaster-day", plaster_day.page),
    LogKind.LEVEL: ("fill-watch", fill_watch.page),
    LogKind.HOSE: ("fill-watch", fill_watch.page),
    FULL: ("fill-watch", fill_watch.page),
    LogKind.BRUSHED: ("start-up", start_up.page),
    LogKind.NOTE: ("start-up", start_up.page),
}


@require_POST
def log(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """Keep one entry of a job, once by its client id; back to the page it belongs to."""
    who, job, firm = job_on_site(request, pk)
    kind = request.POST.get("kind", "")
    shown_on = _kind_taken_back(job, request.POST.get("of", "")) if kind == LogKind.TAKEN_BACK else kind
    if shown_on not in PAGES:
        return site_page(request, "site/refused.html", job, firm, {"kind": kind}, 400)
    name, page = PAGES[shown_on]
    made = LOG_FORMS.get(kind, SiteForm)
    extra = {"deepest_m": deepest_m(job.pool)} if kind == LogKind.LEVEL else {}
    form = made(request.POST, units=firm.units, zone=job.site.tz, auto_id=f"{kind}_%s", **extra)
    if form.is_valid():
        try:
            with transaction.atomic():
                _keep(kind, form, who, job, firm)
        except ValidationError as refused:
            service_errors(form, refused)
    if form.errors:
        return page(request, who, job, firm, {kind: form}, 422)
    return redirect(name, job.pk)


def _kind_taken_back(job: Job, of: str) -> str:
    """The page of what is taken back."""
    try:
        entry = SiteLog.objects.filter(job=job, client_id=uuid.UUID(of)).first()
    except ValueError:
        return ""
    return "" if entry is None else entry.kind


def _keep(kind: str, form: SiteForm, who: Membership, job: Job, firm: Firm) -> None:
    once = {"by": who, "at": form.when, "client_id": form.cleaned_data["client_id"]}
    if kind in (FULL, LogKind.LEVEL, LogKind.HOSE):
        _ask_again(kind, form, job, firm)
    if kind == FULL:
        pool_full(job, **once)
        return
    before = _why_not(kind, job, firm)
    site_log(job, kind=kind, data=form.data_of_entry, **once)
    after = _why_not(kind, job, firm)
    if after and not before:
        raise ValidationError({MEASURED[kind]: spoken(in_units(after, firm.units))})


def _ask_again(kind: str, form: SiteForm, job: Job, firm: Firm) -> None:
    """Refuse what can hardly be, in a sentence beside its field."""
    sheet = fill_sheet(job, clock.now())
    if kind == FULL and not form.cleaned_data["sure"] and (said := hardly_full(sheet, form.when, firm.units)):
        raise ValidationError({"sure": said})
    if form.cleaned_data.get("action") != "started" and (said := before_the_water(sheet, form.when, firm.units)):
        raise ValidationError({"at_clock": said})


def _why_not(kind: str, job: Job, firm: Firm) -> str:
    """What the timeline cannot take of what is kept; a reading that brings it about is given back to be read again."""
    if kind == LogKind.LEVEL:
        return fill_sheet(job, clock.now()).why_not
    return plaster_sheet(job, firm, clock.now()).why_not if kind == LogKind.READING else ""
