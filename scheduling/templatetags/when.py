"""`{% load when %}`: instants as the office reads them, on the wall clock of the site they carry.

Django's own `date` filter turns every instant into the firm's zone; these leave the zone that a view gave an
instant (that of its site) and turn only UTC into the firm's.
"""

from __future__ import annotations

import datetime as dt

from django import template
from django.utils import timezone
from django.utils.formats import date_format

from scheduling.words import clock_words, day_words

register = template.Library()


def wall(value: dt.datetime) -> dt.datetime:
    """The instant on its own wall clock; UTC becomes the zone of the page."""
    return timezone.localtime(value) if value.utcoffset() == dt.timedelta() else value


@register.filter
def when(value: dt.datetime | None, units: str = "us") -> str:
    """ "Thu 3 Dec 7:00 am"."""
    return "" if value is None else f"{date_format(wall(value).date(), 'D j M')} {clock_words(wall(value), units)}"


@register.filter
def when_long(value: dt.datetime | None, units: str = "us") -> str:
    """ "Thursday 3 December, 7:00 am"."""
    return "" if value is None else f"{day_words(wall(value).date())}, {clock_words(wall(value), units)}"


@register.filter
def clock_at(value: dt.datetime | None, units: str = "us") -> str:
    """ "7:00 am"."""
    return "" if value is None else clock_words(wall(value), units)


@register.filter
def day_at(value: dt.datetime | None) -> str:
    """ "Thu 3 Dec"."""
    return "" if value is None else date_format(wall(value).date(), "D j M")
