from __future__ import annotations

import uuid
from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop
from django.views.decorators.http import require_safe

from jobs.condition import cautions as work_care
from jobs.firm_words import words_said
from jobs.models import Job, LogKind
from jobs.people_units import QUANTITIES, chance, said
from jobs.reason_words import why_words
from jobs.spoken import spoken
from scheduling.forms_site import MaterialForm, PassForm, SectionForm, SiteForm
from scheduling.models import StintState
from scheduling.selectors.plaster_chart import day_chart
from scheduling.selectors.plaster_day import PlasterSheet, plaster_sheet
from scheduling.selectors.plaster_record import DayRecord, record_of
from scheduling.selectors.today import THUNDER, heat_caution
from scheduling.views.on_site import job_on_site, site_page
from scheduling.words import clock_words, span_words
from shared import clock
from shared.models import Firm, Membership
from shared.models.firm import Units

SHOWN_DUE: Final = 3
SHOWN_TAPS: Final = 12
CAUTIONS: Final = (work_care.WET_CEMENT, work_care.BARRIER, work_care.GFCI)
LINES: Final[dict[str, tuple[str, str]]] = {  # what is said, and where the firm says what it does then
    "evaporation_watch": (gettext_noop("Drying will pass the watch line."), "line_drying"),
    "cold_care": (gettext_noop("A cold day: it sets slowly."), "line_cold"),
    "hot_care": (gettext_noop("A hot day: it sets fast."), "line_heat"),
}
NOTICES: Final[dict[str, str]] = {
    "mix_too_warm": gettext_noop("The mix is warmer than its limit: cool the water or the aggregate."),
    "surface_colder_than_air": gettext_noop("The surface gets colder than the air in the first night: cover it."),
}


@require_safe
def plaster_day(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """The clock of the plaster day; a sheet to print before it."""
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
    now = clock.now()
    sheet = plaster_sheet(job, firm, now)
    forms = _forms(sheet, firm)
    context: dict[str, Any] = {
        "reached": [line for line in sheet.lines if line.reached],
        "chart": day_chart(sheet, firm.units, now),
        "record": _record(sheet, firm),
        "temperature_unit": QUANTITIES["temperature"].shown(firm.units).sign,
        "taps": [(tap, uuid.uuid4()) for tap in sheet.taps[:SHOWN_TAPS]],
        "sheet": sheet,
        "forms": {**forms, **(bound or {})},
        "verdict": _verdict(sheet, firm.units),
        "due": [(cell, _pass_form(sheet, firm, cell.number, cell.section)) for cell in sheet.due[:SHOWN_DUE]],
        "more_due": max(0, len(sheet.due) - SHOWN_DUE),
        "coming_form": sheet.coming and _pass_form(sheet, firm, sheet.coming.number, sheet.coming.section),
        "live": sheet.is_today and sheet.table is not None,
        "notices": _notices(sheet, firm),
        "other_units": _other_units(sheet, firm.units),
        "cautions": " ".join(_cautions(sheet, firm)),
    }
    return site_page(request, "site/plaster_day.html", job, firm, context, status)


def _notices(sheet: PlasterSheet, firm: Firm) -> list[str]:
    """What to watch on the day, with what the firm does then."""
    codes = sheet.table.notices if sheet.table else ()
    told = [f"{_(LINES[code][0])} {words_said(firm, LINES[code][1])}" for code in codes if code in LINES]
    return told + [_(NOTICES[code]) for code in codes if code in NOTICES]


def _other_units(sheet: PlasterSheet, units: str) -> str:
    """Area and lines in the units that the firm does not use, for the printed sheet."""
    if sheet.table is None:
        return ""
    other = Units.US if units == Units.METRIC else Units.METRIC
    limits = sheet.limits
    return _("The same in other units: %(area)s; air %(low)s to %(high)s; watch %(watch)s, stop %(stop)s.") % {
        "area": said("area", sheet.area_m2, other),
        "low": said("temperature", limits.air_min_c, other),
        "high": said("temperature", limits.air_max_c, other),
        "watch": said("drying", limits.evaporation_watch_kg_m2_h, other),
        "stop": said("drying", limits.evaporation_stop_kg_m2_h, other),
    }


def _record(sheet: PlasterSheet, firm: Firm) -> DayRecord | None:
    """Planned against real once the day is done."""
    stint = sheet.stint
    over = stint is not None and stint.state == StintState.DONE
    made = bool(sheet.sections) and all(cell.done_at for row in sheet.sections for cell in row.passes)
    if stint is None or not (over or made):
        return None
    stint.job = sheet.job
    return record_of(stint, firm)


def _cautions(sheet: PlasterSheet, firm: Firm) -> list[str]:
    told = [*(spoken(text) for text in CAUTIONS), _(THUNDER)]
    heat = heat_caution(sheet.table.heat_index_max_c, sheet.limits, firm.units) if sheet.table else None
    return told if heat is None else [heat, *told]


def _forms(sheet: PlasterSheet, firm: Firm) -> dict[str, SiteForm]:
    zone = sheet.job.site.tz
    forms: dict[str, SiteForm] = {LogKind.READING: MaterialForm(units=firm.units, zone=zone, auto_id="material_%s")}
    if sheet.next_section is not None:
        initial = {"section": sheet.next_section}
        forms[LogKind.LAID] = SectionForm(units=firm.units, zone=zone, initial=initial, auto_id="laid_%s")
    return forms


def _pass_form(sheet: PlasterSheet, firm: Firm, number: int, section: int) -> PassForm:
    initial = {"number": number, "section": section}
    return PassForm(units=firm.units, zone=sheet.job.site.tz, initial=initial, auto_id=f"pass_{number}_{section}_%s")


def _verdict(sheet: PlasterSheet, units: str) -> str:
    """Whether the day holds; where the forecast states no amounts of rain, that too."""
    said = _judgement(sheet, units)
    if sheet.course is None or sheet.course.rain_chance is None or not said:
        return said
    only = _("The forecast gives no amounts of rain for that day, only a chance of up to %(chance)s.")
    return f"{said} {only % {'chance': chance(sheet.course.rain_chance)}}"


def _judgement(sheet: PlasterSheet, units: str) -> str:
    """One sentence on the day: whether it holds, or what closes it and which start would not."""
    table = sheet.table
    if table is None or sheet.day is None:
        return ""
    start = clock_words(table.clock(table.start_h), units)
    if sheet.course is not None and sheet.course.typical:
        return _("There is no forecast of that day yet; times are those of a usual year.")
    if sheet.begun:
        if sheet.too_dark and sheet.last_pass is not None and sheet.dark is not None:
            return _("The last pass ends about %(last)s, after dark at %(dark)s: bring more hands or light.") % {
                "last": clock_words(sheet.last_pass, units),
                "dark": clock_words(sheet.dark, units),
            }
        if table.slack_min >= 0:
            return _("Every pass can be done in time with %(spare)s to spare.") % {
                "spare": span_words(table.slack_min / 60)
            }
        return _("%(hands)s finishers are needed to keep up; %(there)d are there.") % {
            "hands": f"{table.finishers_needed:.1f}",
            "there": sheet.finishers,
        }
    if table.allowed:
        return _("Can plaster: starting at %(start)s every pass can be done in time with %(spare)s to spare.") % {
            "start": start,
            "spare": span_words(table.slack_min / 60),
        }
    reasons = "; ".join(
        why_words({"code": one.code, "value": one.value, "limit": one.limit, "why": one.words}, units)
        for one in table.reasons
    )
    if sheet.best_start is not None:
        return _("Cannot plaster at %(start)s: %(reasons)s. The best start is %(best)s.") % {
            "start": start,
            "reasons": reasons,
            "best": clock_words(sheet.best_start, units),
        }
    return _("Cannot plaster on this day: %(reasons)s.") % {"reasons": reasons}
