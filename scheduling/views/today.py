from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from shared import access


def today(request: HttpRequest) -> HttpResponse:
    access.crew_or_office(request)
    return render(request, "site/first.html", {"heading": "Today and tomorrow"})
