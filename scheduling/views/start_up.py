from __future__ import annotations

import uuid
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from jobs.forms.measures import service_errors
from jobs.models import Job, JobState, LogKind, StartUp, WaterTest
from jobs.physics.additions import Amount
from jobs.selectors.water import HOSE, POOL, acid_signature
from jobs.services.water import Readings, acid_sign, addition_log, start_up_method_set, water_test_log
from jobs.spoken import spoken
from scheduling.forms_site import AcidForm, AdditionForm, BrushedForm, NoteForm, SiteForm, WaterTestForm
from scheduling.selectors.start_up import StartUpSheet, field_index, start_up_sheet
from scheduling.selectors.water_chart import water_chart
from scheduling.views.on_site import job_on_site, site_page
from scheduling.words import clock_words, day_words, listed
from shared import clock
from shared.models import Firm, Membership

TEST: Final = "test"
ADDITION: Final = "addition"
METHOD: Final = "method"
ACID: Final = "acid"
METHOD_UNTIL_DAY: Final = 1  # [CP] alkalinity is raised in the fill water or on the first days, or not at all
READINGS: Final = (
    "temp_c",
    "ph",
    "calcium_hardness_mg_l",
    "total_alkalinity_mg_l",
    "tds_mg_l",
    "free_chlorine_mg_l",
)


@require_http_methods(["GET", "HEAD", "POST"])
def start_up(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """The running log of the first month; takes water tests, additions and the method."""
    who, job, firm = job_on_site(request, pk)
    if request.method != "POST":
        return page(request, who, job, firm)
    what = request.POST.get("what", "")
    if what == METHOD:
        return _method(request, who, job, firm)
    maker = {TEST: WaterTestForm, ADDITION: AdditionForm, ACID: AcidForm}.get(what)
    if maker is None or (what == ACID and not who.is_office):
        return page(request, who, job, firm, status=400)
    form = maker(request.POST, units=firm.units, zone=job.site.tz, auto_id=f"{what}_%s")
    if form.is_valid():
        try:
            _keep(what, form, who, job)
        except ValidationError as refused:
            service_errors(form, refused)
    if form.errors:
        return page(request, who, job, firm, {what: form}, status=422)
    return redirect("start-up", job.pk)


def _keep(what: str, form: SiteForm, who: Membership, job: Job) -> None:
    kept = form.cleaned_data
    once = {"by": who, "at": form.when, "client_id": kept["client_id"]}
    if what == ACID:
        signed = {name: kept[name] for name in ("signed_by", "signed_on", "instruction")}
        acid_sign(job, by=who, client_id=kept["client_id"], **signed)
        return
    if what == ADDITION:
        assert isinstance(form, AdditionForm)
        addition_log(job, substance=kept["substance"], amount=form.si, **once)
        return
    readings = Readings(
        **{name: kept[name] for name in READINGS}, cyanuric_acid_mg_l=kept.get("cyanuric_acid_mg_l") or 0.0
    )
    water_test_log(job, readings, of=kept["of"], **once)


def _method(request: HttpRequest, who: Membership, job: Job, firm: Firm) -> HttpResponse:
    try:
        start_up_method_set(job, request.POST.get("method", ""), by=who)
    except ValidationError:
        return page(request, who, job, firm, status=422)
    return redirect("start-up", job.pk)


def page(
    request: HttpRequest,
    who: Membership,
    job: Job,
    firm: Firm,
    bound: dict[str, SiteForm] | None = None,
    status: int = 200,
) -> HttpResponse:
    sheet = start_up_sheet(job, clock.now())
    shown: dict[str, Any] = {"units": firm.units, "zone": job.site.tz}
    water = POOL if job.state in (JobState.FIRST_MONTH, JobState.FINISHED) else HOSE
    forms: dict[str, SiteForm] = {
        TEST: WaterTestForm(**shown, initial={"of": water}, auto_id="test_%s"),
        ADDITION: AdditionForm(**shown, initial=_asked_for(sheet, firm.units), auto_id="addition_%s"),
        ACID: AcidForm(**shown, auto_id="acid_%s"),
        LogKind.NOTE: NoteForm(**shown, auto_id="note_%s"),
    }
    context: dict[str, Any] = {
        "sheet": sheet,
        "forms": {**forms, **(bound or {})},
        "open_form": next(iter(bound), "") if bound else "",
        "sentence": now_sentence(sheet, firm.units),
        "after": after_words(sheet.latest),
        "advised": bool(sheet.latest and sheet.added_since is None and sheet.latest.advice.get("cautions")),
        "gates": [
            (gate, listed([spoken(wait) for wait in gate.waits_for if not wait.startswith("day ")]))
            for gate in sheet.gates
        ],
        "chart": water_chart(sheet),
        "field": None if sheet.latest is None else field_index(sheet.latest),
        "signature": acid_signature(job) if job.start_up_method == StartUp.ACID else None,
        "acid": job.start_up_method == StartUp.ACID,
        "may_sign": who.is_office and job.start_up_method != StartUp.ACID and not sheet.over,
        "brushed": [(value, label, uuid.uuid4()) for value, label in BrushedForm.DUST],
        "method_open": sheet.number is None or sheet.number <= METHOD_UNTIL_DAY,
        "methods": [choice for choice in StartUp.choices if choice[0] != StartUp.ACID],
    }
    return site_page(request, "site/start_up.html", job, firm, context, status)


def _asked_for(sheet: StartUpSheet, units: str) -> dict[str, Any]:
    """What the newest test asked for, ready to be logged as done."""
    if sheet.latest is None or sheet.added_since is not None or sheet.latest.advice.get("action") != "add":
        return {"unit": "L" if units == "metric" else "fl oz", "substance": "HCl"}
    chemical, value = sheet.latest.advice["chemical"], float(sheet.latest.advice["amount"])
    said = Amount(value, "L" if chemical == "HCl" else "kg")
    number, unit = (said.metric if units == "metric" else said.us).split(" ", 1)
    return {"substance": chemical, "amount": float(number), "unit": unit}


def now_sentence(sheet: StartUpSheet, units: str) -> str:
    """What to do now, in one sentence."""
    latest, since = sheet.latest, sheet.added_since
    if since is not None and sheet.retest_at is not None:
        if sheet.retest_at > clock.now():
            return _("Let the filter run; test again after %(at)s.") % {"at": _moment(sheet.retest_at, units)}
        return _("Test the water again: the last addition has mixed.")
    if latest is None:
        return (
            _("Test the fill water at the hose: the start-up method follows from it.")
            if sheet.number is None
            else _("Test the water.")
        )
    if latest.advice.get("of") == HOSE and not latest.doubted:
        return _("Test the water of the pool.") if sheet.number is not None else _("The fill water is tested.")
    return spoken(str(latest.advice.get("sentence", "")))


def after_words(latest: WaterTest | None) -> str:
    """What the water should read after the addition that was advised."""
    after = (latest.advice.get("after") if latest is not None else None) or None
    if after is None:
        return ""
    index = after.get("index")
    said = _("After it the test should read about pH %(ph).1f and alkalinity %(alkalinity)d") % {
        "ph": after["ph"],
        "alkalinity": after["total_alkalinity_mg_l"],
    }
    return said + ("." if index is None else _("; index %(index)+.1f.") % {"index": index})


def _moment(at: Any, units: str) -> str:
    local = at
    if local.date() == timezone.localtime(clock.now(), at.tzinfo).date():
        return clock_words(local, units)
    return f"{day_words(local.date())}, {clock_words(local, units)}"
