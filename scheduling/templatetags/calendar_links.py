"""`{% load calendar_links %}`: how long ago a calendar looked, and when it may ring."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import template
from django.utils.translation import gettext as _

from scheduling.selectors.alarms import choices
from scheduling.words import span_words
from shared import clock
from shared.models import AccessToken

register = template.Library()


@register.filter
def ago(value: dt.datetime | None) -> str:
    """ "3 h ago"."""
    if value is None:
        return ""
    return _("%(span)s ago") % {"span": span_words(max(0.0, (clock.now() - value) / dt.timedelta(hours=1)))}


@register.filter
def alarm_choices(token: AccessToken) -> list[tuple[str, Any, bool]]:
    """(code, words, is chosen) of a calendar link."""
    return choices(token)
