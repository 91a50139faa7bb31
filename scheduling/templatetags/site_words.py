"""`{% load site_words %}`: days, clock times and sentences of the pages used on site and at home."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

from django import template
from django.template import Context
from django.utils import timezone

from jobs import people_units
from jobs.spoken import spoken
from scheduling import words

register = template.Library()
register.filter("spoken", spoken)
register.filter("tel", words.tel_uri)


@register.filter
def day(value: dt.date | dt.datetime) -> str:
    """Weekday and date; instants in the zone of the page."""
    return words.day_words(timezone.localtime(value).date() if isinstance(value, dt.datetime) else value)


@register.filter
def clock(value: dt.datetime | dt.time | None, units: str = "us") -> str:
    """Time of day; instants in the zone of the page."""
    if value is None:
        return ""
    return words.clock_words(timezone.localtime(value) if isinstance(value, dt.datetime) else value, units)


@register.filter
def short_clock(value: dt.datetime, units: str = "us") -> str:
    """Time of day within one working day."""
    return words.short_clock_words(timezone.localtime(value), units)


@register.simple_tag(takes_context=True)
def figure(context: Context, quantity: str, value: Any) -> str:
    """A quantity without its unit, which stands at the head of the column."""
    number = None if value in (None, "") else float(value)
    if number is None or not math.isfinite(number):
        return ""
    return people_units.number(quantity, number, str(context["units"]))


@register.simple_tag(takes_context=True)
def unit(context: Context, quantity: str) -> str:
    """The unit in which a quantity is shown."""
    return people_units.QUANTITIES[quantity].shown(str(context["units"])).sign


@register.filter
def signed(value: Any) -> str:
    """A saturation index with its sign: +0.31."""
    return "" if value is None else f"{float(value):+.2f}".replace("-", "\N{MINUS SIGN}")
