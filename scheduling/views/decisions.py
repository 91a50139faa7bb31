from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from shared import access


def decisions(request: HttpRequest) -> HttpResponse:
    access.office(request)
    return render(request, "scheduling/decisions.html", {})
