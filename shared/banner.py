"""One sentence on top of every page of a firm that has one, such as the demonstration's."""

from __future__ import annotations

from django.http import HttpRequest

from shared.models import Firm


def banner(request: HttpRequest) -> dict[str, str]:
    if getattr(request, "member", None) is None:
        return {}
    words = Firm.objects.values_list("words", flat=True).first() or {}
    return {"banner": str(words.get("banner", ""))}
