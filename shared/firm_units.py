"""`units` in every template of a firm's pages, for figures and times of day; asked of the database only if used."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.utils.functional import SimpleLazyObject

from shared.models import Firm
from shared.models.firm import Units


def firm_units(request: HttpRequest) -> dict[str, Any]:
    """The firm's units; a view that knows them already gives its own."""
    if getattr(request, "member", None) is None:
        return {}
    return {"units": SimpleLazyObject(lambda: Firm.objects.values_list("units", flat=True).first() or Units.US)}
