from __future__ import annotations

import uuid

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from scheduling.models import Absence, Crew
from shared import access


def crew_new(request: HttpRequest) -> HttpResponse:
    access.manager(request)
    return redirect("firm")


def crew(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    access.office(request)
    access.own(Crew, pk)
    return redirect("firm")


def absence(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    access.manager(request)
    access.own(Crew, pk)
    return redirect("firm")


def absence_end(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    access.manager(request)
    access.own(Absence, pk)
    return redirect("firm")
