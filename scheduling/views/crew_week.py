from __future__ import annotations

import datetime as dt
from typing import Any, Final

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from scheduling.selectors.crews import crews_at_work
from scheduling.selectors.today import WEEK, crews_of, week_note
from scheduling.views.today import errand_said
from shared import access, clock
from shared.models import Firm

MOST_AHEAD: Final = dt.timedelta(days=366)


@require_safe
def crew_week(request: HttpRequest) -> HttpResponse:
    """Seven days of a crew on one sheet: from ?from= on, else from today; the office names the crew by ?crew=."""
    who = access.crew_or_office(request)
    firm = Firm.objects.get()
    zone = who.contractor.tz
    wanted = request.GET.get("crew", "")
    led = crews_of(who, wanted)
    every = crews_at_work() if who.is_office else led
    crew = next((each for each in led if not wanted or str(each.pk) == wanted), None)
    if wanted and crew is None:
        raise Http404
    crew = crew or next(iter(every), None)
    today = clock.now().astimezone(zone).date()
    first = _day(request.GET.get("from", ""), today)
    shown: dict[str, Any] = {"crew": crew, "crews": every, "units": firm.units, "firm": firm, "first": first}
    if crew is not None:
        note = week_note(crew, firm, zone, first)
        shown["days"] = [(day, [errand_said(one, crew, firm.units) for one in day.errands]) for day in note.days]
        shown["cautions"] = list(
            dict.fromkeys(text for day in note.days for one in day.errands for text in one.cautions)
        )
        shown["last"] = first + dt.timedelta(days=WEEK - 1)
        shown["before"], shown["after"] = first - dt.timedelta(days=WEEK), first + dt.timedelta(days=WEEK)
    with timezone.override(zone):
        return render(request, "site/crew_week.html", shown)


def _day(text: str, today: dt.date) -> dt.date:
    """A day that was asked for, at most a year away; anything else is today."""
    try:
        day = dt.date.fromisoformat(text)
    except ValueError:
        return today
    return day if abs(day - today) <= MOST_AHEAD else today
