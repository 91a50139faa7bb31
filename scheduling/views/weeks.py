from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Any, Final
from urllib.parse import urlencode

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from jobs.people_units import QUANTITIES
from scheduling.drawing.time_scale import FROM_H, TO_H, TimeScale
from scheduling.drawing.weather_strip import weather_days
from scheduling.drawing.weeks import drawn_crew, drawn_job
from scheduling.drawing.weeks_lines import crew_lines, job_lines
from scheduling.forms.when import DayField
from scheduling.models import Crew
from scheduling.selectors.unplaced import unplaced
from scheduling.selectors.weeks import Asked, Window, branch_weather, branches, crew_rows, job_rows
from shared import access, clock
from shared.models import Firm


@dataclass(frozen=True)
class Zoom:
    """A number of days and how wide one is drawn."""

    word: str
    label: Any
    days: int
    day_px: int


ZOOMS: Final = {
    zoom.word: zoom
    for zoom in (
        Zoom("day", _("one day"), 1, 1264),
        Zoom("week", _("one week"), 7, 180),
        Zoom("8weeks", _("eight weeks"), 56, 24),
    )
}
FARTHEST: Final = dt.timedelta(days=730)


class WeeksForm(forms.Form):
    """What to show; a wrong value is said and today's weeks are shown."""

    to = DayField(label=_("Day"), required=False)
    q = forms.CharField(label=_("Site, pool owner or number"), required=False, max_length=80)
    branch = forms.ChoiceField(label=_("Branch"), required=False)
    crew = forms.ChoiceField(label=_("Crew"), required=False)

    def __init__(self, data: Any, *, branch_names: list[str], crews: list[Crew], today: dt.date) -> None:
        super().__init__(data)
        self.today = today
        choices = {
            "branch": [("", _("all branches")), *((name, name) for name in branch_names)],
            "crew": [("", _("all crews")), *((str(crew.pk), crew.name) for crew in crews)],
        }
        for name, offered in choices.items():
            self.fields[name].choices = offered  # type: ignore[attr-defined]  # a choice field

    def clean_to(self) -> dt.date | None:
        day: dt.date | None = self.cleaned_data["to"]
        if day is not None and abs(day - self.today) > FARTHEST:
            raise forms.ValidationError(
                _("The day is %(day)s; allowed is two years before or after today."), params={"day": day.isoformat()}
            )
        return day


@require_safe
def weeks(request: HttpRequest) -> HttpResponse:
    who = access.office(request)
    today = clock.now().astimezone(who.contractor.tz).date()
    zoom = ZOOMS.get(request.GET.get("zoom", ""), ZOOMS["8weeks"])
    by = "crew" if request.GET.get("by") == "crew" else "job"
    crews = list(Crew.objects.filter(active=True).order_by("name"))
    names = branches()
    form = WeeksForm(request.GET, branch_names=names, crews=crews, today=today)
    good = form.cleaned_data if form.is_valid() else {name: form.cleaned_data.get(name) for name in form.fields}
    window = Window(_first_day(good.get("to") or today, zoom, good.get("to") is not None), zoom.days)
    asked = Asked(good.get("branch") or "", good.get("crew") or None, (good.get("q") or "").strip())
    table = request.GET.get("view") == "table"
    units = Firm.objects.values_list("units", flat=True).get()
    crew_asked = next((crew for crew in crews if str(crew.pk) == str(asked.crew)), None)
    shown = [asked.branch] if asked.branch else [crew_asked.branch] if crew_asked else names
    context = {
        "form": form,
        "zoom": zoom,
        "by": by,
        "today": today,
        "window": window,
        "scale": TimeScale(window.first, window.days, zoom.day_px),
        "hours": range(int(FROM_H), int(TO_H)),
        "days": [window.first + dt.timedelta(days=number) for number in range(window.days)],
        "links": _links(request, zoom, by, window, today),
        "table": table,
        "crew_asked": crew_asked,
        "unplaced": unplaced(shown),
        "groups": _groups(window, asked, shown, zoom, by, today, units, table or asked.crew is not None),
        "units": units,
        "degrees": QUANTITIES["temperature"].shown(units).sign,
        "tick": {
            "x": zoom.day_px * 0.3,
            "width": zoom.day_px * 0.4 if zoom.days > 7 else 10,
            "y": 30 if zoom.days > 7 else 13,
        },
    }
    return render(request, "scheduling/weeks.html", context, status=400 if form.errors else 200)


def _first_day(day: dt.date, zoom: Zoom, asked: bool) -> dt.date:
    """Weeks begin on Monday; eight weeks begin a week before the day, so that what just happened is seen."""
    if zoom.days == 1:
        return day
    monday = day - dt.timedelta(days=day.weekday())
    return monday if zoom.days == 7 or asked else monday - dt.timedelta(days=7)


def _groups(
    window: Window, asked: Asked, names: list[str], zoom: Zoom, by: str, today: dt.date, units: str, lines: bool
) -> list[dict[str, Any]]:
    """Per branch: its weather and its rows."""
    scale = TimeScale(window.first, window.days, zoom.day_px)
    weather = branch_weather(names)
    drawn: dict[str, list[Any]] = {}
    if by == "crew":
        for name, crews in groupby(crew_rows(window, asked), key=lambda row: row.crew.branch):
            drawn[name] = [
                replace(drawn_crew(row, scale, units), lines=tuple(crew_lines(row, window, units)) if lines else ())
                for row in crews
            ]
    else:
        whole = zoom.days > 7
        for name, jobs in groupby(job_rows(window, asked), key=lambda row: row.job.site.branch):
            drawn[name] = [
                replace(
                    drawn_job(row, scale, today, units, whole=whole),
                    lines=tuple(job_lines(row, window, units)) if lines else (),
                )
                for row in jobs
            ]
    return [
        {
            "branch": name,
            "weather": weather[name],
            "days": weather_days(weather[name], scale, units),
            "drawn": drawn.get(name, []),
        }
        for name in names
    ]


def _links(request: HttpRequest, zoom: Zoom, by: str, window: Window, today: dt.date) -> dict[str, Any]:
    """Addresses of the other zooms, of earlier and later, by job or crew, as a table."""
    kept = {name: request.GET[name] for name in ("q", "branch", "crew", "view") if request.GET.get(name)}
    middle = request.GET.get("to") or today.isoformat()

    def link(**changes: str) -> str:
        every = {**kept, "zoom": zoom.word, "by": by, "to": middle, **changes}
        return "?" + urlencode({name: value for name, value in every.items() if value})

    step = dt.timedelta(days=window.days)
    here = window.first.isoformat()
    return {
        "zooms": [(each, link(zoom=each.word)) for each in ZOOMS.values()],
        "earlier": link(to=(window.first - step).isoformat()),
        "later": link(to=(window.first + step).isoformat()),
        "today": link(to=""),
        "by_job": link(by="job"),
        "by_crew": link(by="crew"),
        "table": link(view="table", to=here),
        "drawing": link(view="", to=here),
    }
