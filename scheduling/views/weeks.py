from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from scheduling.models import Stint, StintState
from shared import access


def weeks(request: HttpRequest) -> HttpResponse:
    access.office(request)
    stints = Stint.objects.exclude(state=StintState.DROPPED).select_related("job__site", "crew").order_by("starts")
    return render(request, "scheduling/weeks.html", {"stints": stints})
