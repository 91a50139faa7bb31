from __future__ import annotations

import uuid

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from scheduling.models import Stint, StintState
from scheduling.services.plans import stint_keep, stint_mark, stint_undone
from shared import access, clock


def stint(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    access.office(request)
    found = access.own(Stint, pk, "job__site", "job__pool_owner", "crew__lead__person", "plan")
    return render(request, "scheduling/stint.html", {"stint": found})


@require_POST
def keep(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    who = access.office(request)
    stint_keep(access.own(Stint, pk, "job__site"), kept=request.POST.get("kept") == "1", by=who)
    return redirect("stint", pk)


@require_POST
def mark(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    who = access.office(request)
    found = access.own(Stint, pk, "job__site")
    if request.POST.get("state") == "undone":
        stint_undone(found, by=who, why=request.POST.get("why", ""))
    else:
        stint_mark(found, StintState(request.POST.get("state", "")), at=clock.now(), by=who)
    return redirect("stint", pk)
