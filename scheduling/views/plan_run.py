from __future__ import annotations

import uuid

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from scheduling.models import PlanRun
from scheduling.services.plan_runs import plan_ask, run_cancel
from shared import access


@require_POST
def plan_asked(request: HttpRequest) -> HttpResponse:
    who = access.office(request)
    run = plan_ask(who.contractor, by=who, branch=request.POST.get("branch", "main"))
    return redirect("plan-run", run.pk)


def plan_run(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    access.office(request)
    return render(request, "scheduling/plan_run.html", {"run": access.own(PlanRun, pk, "plan")})


@require_POST
def plan_run_stop(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    who = access.office(request)
    run = access.own(PlanRun, pk)
    run_cancel(run, by=who)
    return redirect("plan-run", run.pk)
