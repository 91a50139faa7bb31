from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any, Final

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from scheduling.models import Plan, PlanRun, PlanState, RunState
from scheduling.selectors.changes import Comparison, comparison
from scheduling.selectors.duty_words import duty_findings
from scheduling.selectors.plan_words import plan_words, points_a_day
from scheduling.selectors.unplaced import unplaced
from scheduling.selectors.weeks import branches
from scheduling.services.plan_parts import MovesNeeded, plan_issue_some
from scheduling.services.plans import PlanOutdated, plan_issue, plan_set_aside
from scheduling.services.promise_chances import promise_chances
from scheduling.views.plan_run import SECONDS
from shared import access, clock
from shared.models import Firm, Membership


@require_safe
def changes(request: HttpRequest) -> HttpResponse:
    """Every branch: what is in force, and what its proposal would change."""
    return _page(request, access.office(request))


@require_safe
def chances(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """How sure the promised dates are with a proposal, asked by the page once it is there; or a page itself."""
    who = access.office(request)
    plan = access.own(Plan, pk)
    rows = promise_chances(who.contractor, plan, clock.now()) if plan.state == PlanState.PROPOSED else []
    fragment = bool(request.headers.get("HX-Request"))
    return render(request, f"scheduling/changes_chances{'' if fragment else '_page'}.html", {"rows": rows})


@require_POST
def issue(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    who = access.office(request)
    plan = access.own(Plan, pk)
    try:
        plan_issue(who.contractor, plan, by=who)
    except PlanOutdated as refused:
        return _page(request, who, refused=refused.messages, plan=plan, status=409)
    except ValidationError as refused:
        return _page(request, who, refused=refused.messages, plan=plan, status=422)
    messages.success(request, _("Plan %(version)s is issued; calendars follow.") % {"version": plan.version})
    return redirect("changes")


@require_POST
def issue_some(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """Issue the moves that are ticked; where they need others, those are ticked too and shown."""
    who = access.office(request)
    plan = access.own(Plan, pk)
    ticked = frozenset((job, key) for job, _colon, key in (one.partition(":") for one in request.POST.getlist("take")))
    try:
        made = plan_issue_some(who.contractor, plan, ticked, by=who)
    except MovesNeeded as refused:
        return _page(request, who, refused=refused.messages, plan=plan, ticked=refused, status=422)
    except PlanOutdated as refused:
        return _page(request, who, refused=refused.messages, plan=plan, status=409)
    except ValidationError as refused:
        return _page(request, who, refused=refused.messages, plan=plan, status=422)
    messages.success(request, _("Plan %(version)s is issued; calendars follow.") % {"version": made.version})
    return redirect("changes")


@require_POST
def set_aside(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """None of it: the plan in force stays as it is."""
    who = access.office(request)
    plan = access.own(Plan, pk)
    try:
        plan_set_aside(plan, by=who)
    except ValidationError as refused:
        return _page(request, who, refused=refused.messages, plan=plan, status=422)
    messages.success(request, _("Nothing was changed; proposal %(version)s is set aside.") % {"version": plan.version})
    return redirect("changes")


def _page(
    request: HttpRequest,
    who: Membership,
    *,
    refused: list[str] | None = None,
    plan: Plan | None = None,
    ticked: MovesNeeded | None = None,
    status: int = 200,
) -> HttpResponse:
    units = Firm.objects.values_list("units", flat=True).get()
    day_points = points_a_day()
    proposed = {found.branch: found for found in Plan.objects.filter(state=PlanState.PROPOSED)}
    issued = {found.branch: found for found in Plan.objects.filter(state=PlanState.ISSUED).defer("problem", "answer")}
    running = {
        run.branch: run
        for run in PlanRun.objects.filter(state__in=(RunState.WAITING, RunState.RUNNING)).order_by("asked_at")
    }
    sections: list[dict[str, Any]] = []
    names = branches()
    waiting = unplaced(names)
    for branch in names:
        found = proposed.get(branch)
        compared = comparison(who.contractor, found, units) if found else None
        sections.append(
            {
                "branch": branch,
                "issued": issued.get(branch),
                "running": running.get(branch),
                "compared": compared,
                "words": plan_words(vars(found), day_points) if found else None,
                "unplaced": waiting[branch],
                "duty": duty_findings(found.answer.get("duty", ()), units) if found else (),
                "refused": refused if plan is not None and plan.branch == branch else None,
                **(_ticks(ticked, compared) if plan is not None and plan.branch == branch else NO_TICKS),
            }
        )
    context = {"sections": sections, "units": units, "seconds_offered": SECONDS}
    return render(request, "scheduling/changes.html", context, status=status)


NO_TICKS: Final[Mapping[str, Any]] = {"ticked": None, "needed": (), "needed_words": ()}


def _ticks(ticked: MovesNeeded | None, compared: Comparison | None) -> Mapping[str, Any]:
    """What was chosen with what it needs, so that one more click issues both."""
    if ticked is None or compared is None:
        return NO_TICKS
    needed = {f"{job}:{key}" for job, key in ticked.needed}
    words = [
        f"{row.job.number} {row.job.site.label}: {change.stage} {change.day_number}".rstrip()
        for row in compared.jobs
        for change in row.changes
        if change.place in needed
    ]
    chosen = {f"{job}:{key}" for job, key in ticked.taken}
    return {"ticked": chosen | needed, "needed": needed, "needed_words": words}
