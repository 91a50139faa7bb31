from __future__ import annotations

import uuid
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods

from jobs.forms.measures import service_errors
from jobs.models import LogKind, SiteLog
from jobs.selectors.clearance import drain_clearance
from scheduling.forms_site import DifferentForm, DoneForm, GroundwaterForm, SiteForm
from scheduling.models import Outcome, PhoneEntry, Stage, Stint, StintState
from scheduling.services.site_work import site_log, work_done
from scheduling.views.on_site import site_page
from shared import access, clock
from shared.models import Firm, Membership

FORMS: Final[dict[str, type[SiteForm]]] = {
    LogKind.DONE: DoneForm,
    LogKind.DIFFERENT: DifferentForm,
    LogKind.GROUNDWATER: GroundwaterForm,
}
DRAIN: Final = (Stage.DRAIN_SETUP, Stage.DRAIN_PULL)


@require_http_methods(["GET", "HEAD", "POST"])
def stint_done(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """Done, or what was found different; before a drain also the groundwater record."""
    who = access.crew_or_office(request)
    stint = access.own(Stint, pk, "job__site", "job__pool", "job__pool_owner", "crew__lead__person")
    firm = Firm.objects.get()
    if request.method != "POST":
        return _page(request, stint, firm)
    what = request.POST.get("what", "")
    if what not in FORMS:
        return _page(request, stint, firm, status=400)
    form = FORMS[what](request.POST, units=firm.units, zone=stint.job.site.tz, auto_id=f"{what}_%s")
    if form.is_valid():
        try:
            with transaction.atomic():
                _keep(what, form, who, stint)
        except ValidationError as refused:
            service_errors(form, refused)
    if form.errors:
        return _page(request, stint, firm, {what: form}, status=422)
    return redirect("today" if what == LogKind.DONE else "stint-done", *([] if what == LogKind.DONE else [stint.pk]))


def _keep(what: str, form: SiteForm, who: Membership, stint: Stint) -> None:
    once = {"by": who, "at": form.when, "client_id": form.cleaned_data["client_id"]}
    if what == LogKind.DONE:
        work_done(stint, hours=form.cleaned_data.get("hours"), **once)
    else:
        site_log(stint.job, kind=what, data=form.data_of_entry, stint_id=stint.pk, **once)


def _page(
    request: HttpRequest,
    stint: Stint,
    firm: Firm,
    bound: dict[str, SiteForm] | None = None,
    status: int = 200,
) -> HttpResponse:
    shown: dict[str, Any] = {"units": firm.units, "zone": stint.job.site.tz}
    forms: dict[str, SiteForm] = {what: made(**shown, auto_id=f"{what}_%s") for what, made in FORMS.items()}
    context: dict[str, Any] = {
        "stint": stint,
        "forms": {**forms, **(bound or {})},
        "bound": next(iter(bound), "") if bound else "",
        "open": stint.state in (StintState.ISSUED, StintState.BEGUN),
        "may_not_begin": stint.stage == Stage.PLASTER and stint.state == StintState.ISSUED,
        "logs": SiteLog.objects.filter(job=stint.job, stint_id=stint.pk).order_by("at", "taken_at"),
        "set_aside": PhoneEntry.objects.filter(job=stint.job, outcome=Outcome.SET_ASIDE).order_by("at", "id"),
        "clearance": drain_clearance(stint.job, clock.now()) if stint.stage in DRAIN else None,
    }
    return site_page(request, "site/done.html", stint.job, firm, context, status)
