from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from shared import access


def firm(request: HttpRequest) -> HttpResponse:
    access.office(request)
    return render(request, "scheduling/firm.html", {})


def limits(request: HttpRequest) -> HttpResponse:
    return firm(request)


def rates(request: HttpRequest) -> HttpResponse:
    return firm(request)
