"""What is asked again before it is kept of a fill: a pool called full far too soon, a time before the water ran."""

from __future__ import annotations

import datetime as dt
from typing import Final

from django.utils.translation import gettext as _

from jobs.people_units import chance
from scheduling.selectors.fill_watch import FillSheet
from scheduling.words import clock_words, day_words

FAST: Final = 0.6  # [CP] of the shortest time that is expected; sooner than that a tap is rather a slip


def hardly_full(sheet: FillSheet, at: dt.datetime, units: str) -> str:
    """Why a pool is hardly full at this moment; empty where it may be, or where nothing is known of the fill."""
    if sheet.full is None or not sheet.started_known or sheet.started is None:
        return ""
    if at - sheet.started >= FAST * (sheet.full.p10 - sheet.started):
        return ""
    early = sheet.full.p10.astimezone(sheet.job.site.tz)
    said = {"share": chance(sheet.share_now), "day": day_words(early.date()), "at": clock_words(early, units)}
    return _("About %(share)s is in; by the flow it is full on %(day)s, %(at)s at the earliest.") % said


def before_the_water(sheet: FillSheet, at: dt.datetime, units: str) -> str:
    """Why something cannot have happened at this moment; empty where it can."""
    if not sheet.started_known or sheet.started is None or at >= sheet.started:
        return ""
    typed, started = at.astimezone(sheet.job.site.tz), sheet.started
    return _("%(day)s, %(at)s is before the water ran: it runs since %(since_day)s, %(since)s.") % {
        "day": day_words(typed.date()),
        "at": clock_words(typed, units),
        "since_day": day_words(started.date()),
        "since": clock_words(started, units),
    }
