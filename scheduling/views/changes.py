from __future__ import annotations

import uuid

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from scheduling.models import Plan, PlanState
from scheduling.services.plans import plan_issue
from shared import access


def changes(request: HttpRequest) -> HttpResponse:
    access.office(request)
    proposed = Plan.objects.filter(state=PlanState.PROPOSED).order_by("branch")
    return render(request, "scheduling/changes.html", {"proposed": proposed})


@require_POST
def issue(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    who = access.office(request)
    plan = access.own(Plan, pk)
    try:
        plan_issue(who.contractor, plan, by=who)
    except ValidationError as refused:
        return render(request, "scheduling/changes.html", {"refused": refused.messages}, status=422)
    messages.success(request, _("Plan %(version)s is issued; calendars follow.") % {"version": plan.version})
    return redirect("weeks")
