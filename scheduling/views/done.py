from __future__ import annotations

import uuid

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from scheduling.models import Stint
from shared import access


def stint_done(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    access.crew_or_office(request)
    stint = access.own(Stint, pk, "job__site")
    return render(request, "site/first.html", {"heading": stint})
