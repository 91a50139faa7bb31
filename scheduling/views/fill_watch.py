from __future__ import annotations

import uuid
from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop
from django.views.decorators.http import require_safe

from jobs.forms.sentences import in_units
from jobs.models import Job, LogKind
from jobs.people_units import said
from jobs.selectors.water_level import deepest_m
from jobs.spoken import spoken
from jobs.timeline import start_up_cautions as water_care
from scheduling.forms_site import FULL, FullForm, HoseForm, LevelForm, SiteForm
from scheduling.selectors.fill_chart import level_chart
from scheduling.selectors.fill_watch import FillSheet, fill_sheet
from scheduling.selectors.today import NEVER_PAUSE
from scheduling.views.on_site import job_on_site, site_page
from shared import clock
from shared.models import Firm, Membership
from shared.models.firm import Units

NEVER_ALONE: Final = gettext_noop("The end of a fill is never left alone: the water does not stop by itself.")


@require_safe
def fill_watch(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """When the pool is full and who must be there."""
    who, job, firm = job_on_site(request, pk)
    return page(request, who, job, firm)


def page(
    request: HttpRequest,
    who: Membership,
    job: Job,
    firm: Firm,
    bound: dict[str, SiteForm] | None = None,
    status: int = 200,
) -> HttpResponse:
    sheet = fill_sheet(job, clock.now())
    zone = job.site.tz
    forms: dict[str, SiteForm] = {
        LogKind.LEVEL: LevelForm(units=firm.units, zone=zone, deepest_m=deepest_m(job.pool), auto_id="level_%s"),
        LogKind.HOSE: HoseForm(
            units=firm.units, zone=zone, initial={"action": "moved", "hoses": sheet.hoses}, auto_id="hose_%s"
        ),
        "running": HoseForm(
            units=firm.units, zone=zone, initial={"action": "started", "hoses": sheet.hoses}, auto_id="running_%s"
        ),
        FULL: FullForm(units=firm.units, zone=zone, auto_id="full_%s"),
    }
    context: dict[str, Any] = {"sheet": sheet, "forms": {**forms, **(bound or {})}}
    context["cautions"] = " ".join(_cautions(sheet))
    context["chart"] = level_chart(sheet, firm.units, clock.now())
    context["other_units"] = _other_units(sheet, firm.units)
    context["level_decimals"] = 0 if firm.metric else 1
    context["why_not"] = spoken(in_units(sheet.why_not, firm.units))
    return site_page(request, "site/fill_watch.html", job, firm, context, status)


def _other_units(sheet: FillSheet, units: str) -> str:
    """Volume and flow in the units that the firm does not use, for the printed card."""
    if not sheet.volume_m3 or not sheet.flow_l_min:
        return ""
    other = Units.US if units == Units.METRIC else Units.METRIC
    return f"({said('volume', sheet.volume_m3, other)}, {said('flow', sheet.flow_l_min, other)})"


def _cautions(sheet: FillSheet) -> list[str]:
    before = [spoken(water_care.DRAIN_COVERS)] if sheet.state == "planned" else []
    return [*before, _(NEVER_PAUSE), spoken(water_care.HOSE), _(NEVER_ALONE), spoken(water_care.BARRIER)]
