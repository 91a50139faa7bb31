"""`{% load units %}`: quantities in the firm's units.

As a tag the units come with the page: `{% area figures.surface_m2 %}`, `{% temperature day.low_c %}`,
`{% both "area" figures.surface_m2 %}` (both sets, for printed sheets), `{% from_to "temperature" low high %}`.
As a filter they are given: `{{ figures.surface_m2|area:units }}`. The values are SI as in `jobs.people_units`.
Pages without a login hand `units` ("us" or "metric") to the template.
"""

from __future__ import annotations

from typing import Any

from django import template
from django.template import Context

from jobs import people_units
from jobs.forms.sentences import in_units
from shared.models import Firm
from shared.models.firm import Units
from shared.tenancy.context import contractor_id_or_none

register = template.Library()
register.filter("in_units", in_units)


def units_of(context: Context) -> str:
    """The page's own `units`, else those of the active firm, looked up once a request."""
    if context.get("units"):
        return str(context["units"])
    request = context.get("request")
    known = getattr(request, "firm_units", None)
    if known is None:
        active = contractor_id_or_none()
        known = Units.US if active is None else Firm.objects.values_list("units", flat=True).first() or Units.US
        if request is not None:
            request.firm_units = known
    return str(known)


def _number(value: Any) -> float | None:
    return None if value in (None, "") else float(value)


def _register(quantity: str) -> None:
    """A tag and a filter of the quantity's name."""

    def tag(context: Context, value: Any, decimals: int | None = None) -> str:
        return people_units.said(quantity, _number(value), units_of(context), decimals)

    def filtered(value: Any, units: str = Units.US) -> str:
        return people_units.said(quantity, _number(value), str(units))

    register.simple_tag(tag, takes_context=True, name=quantity)
    register.filter(quantity, filtered)


for _quantity in people_units.QUANTITIES:
    _register(_quantity)


@register.simple_tag(takes_context=True)
def both(context: Context, quantity: str, value: Any) -> str:
    """In the firm's units and, in brackets, in the other set."""
    return people_units.said_both(quantity, _number(value), units_of(context))


@register.simple_tag(takes_context=True)
def from_to(context: Context, quantity: str, low: Any, high: Any) -> str:
    """Two values with one unit."""
    return people_units.said_range(quantity, _number(low), _number(high), units_of(context))


@register.filter
def chance(share: Any) -> str:
    """A share from 0 to 1 as whole percent."""
    return people_units.chance(_number(share))
