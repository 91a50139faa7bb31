"""Days, clock times and small numbers as people say them, in the language of the page."""

from __future__ import annotations

import datetime as dt
import re
from typing import Final

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, pgettext

from shared.models.firm import Units

EXTENSION: Final = re.compile(r"(?:ext(?:ension|\.)?|x|#)\s*\.?\s*(?=\d)", re.IGNORECASE)
NUMBERS: Final = (
    gettext_noop("no"),
    gettext_noop("one"),
    gettext_noop("two"),
    gettext_noop("three"),
    gettext_noop("four"),
    gettext_noop("five"),
    gettext_noop("six"),
    gettext_noop("seven"),
    gettext_noop("eight"),
    gettext_noop("nine"),
)


def day_words(day: dt.date) -> str:
    """ "Tuesday 14 April", "martes 14 de abril"."""
    return date_format(day, pgettext("day with weekday", "l j F"))


def clock_words(at: dt.datetime | dt.time, units: str) -> str:
    """ "6:40 am" where feet are used, "6:40" elsewhere; *at* is already in the zone of the site."""
    if units == Units.US:
        return f"{at.hour % 12 or 12}:{at.minute:02d} {'am' if at.hour < 12 else 'pm'}"
    return f"{at.hour}:{at.minute:02d}"


def short_clock_words(at: dt.datetime, units: str) -> str:
    """The same for tables of one working day, without am and pm."""
    return clock_words(at, units).removesuffix(" am").removesuffix(" pm")


def number_words(count: int) -> str:
    """Small numbers in words, others in figures."""
    return _(NUMBERS[count]) if 0 <= count < len(NUMBERS) else str(count)


def people_words(count: int) -> str:
    if count == 1:
        return _("one person")
    return _("%(number)s people") % {"number": number_words(count)}


def times_words(count: int) -> str:
    if count == 1:
        return _("once")
    return _("twice") if count == 2 else _("%(number)s times") % {"number": number_words(count)}


def span_words(hours: float) -> str:
    """A stretch of time: "40 min", "3 h", "26 h", "4 days"."""
    if hours < 1:
        return _("%(n)d min") % {"n": max(1, round(hours * 60))}
    if hours < 48:
        return _("%(n)s h") % {"n": f"{hours:.1f}".removesuffix(".0") if hours < 10 else f"{hours:.0f}"}
    return _("%(n)d days") % {"n": round(hours / 24)}


def listed(parts: list[str]) -> str:
    """ "a, b and c"."""
    if len(parts) < 2:
        return "".join(parts)
    return _("%(first)s and %(last)s") % {"first": ", ".join(parts[:-1]), "last": parts[-1]}


def tel_uri(number: str) -> str:
    """A telephone number as people type it as a URI [RFC 3966]: "tel:+13365550199;ext=3"."""
    outer, *inner = EXTENSION.split(number.strip(), maxsplit=1)
    plus = "+" if outer.startswith("+") else ""
    extension = "".join(sign for part in inner for sign in part if sign.isdigit())
    return f"tel:{plus}{''.join(sign for sign in outer if sign.isdigit())}" + (f";ext={extension}" if extension else "")
