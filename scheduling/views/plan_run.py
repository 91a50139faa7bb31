from __future__ import annotations

import uuid
from typing import Any, Final

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from scheduling.models import PlanRun, RunState
from scheduling.selectors.plan_words import plan_words, points_a_day
from scheduling.selectors.weeks import branches
from scheduling.services.plan_runs import plan_ask, run_cancel
from shared import access, clock
from shared.models import Firm

OVER: Final = (RunState.DONE, RunState.CANCELLED, RunState.FAILED)
SECONDS: Final = (10, 20, 60, 180)


class PlanAskForm(forms.Form):
    """Which branch, why, and how long to search."""

    branch = forms.ChoiceField(label=_("Branch"))
    why = forms.CharField(label=_("Why (kept with the plan)"), required=False, max_length=160)
    seconds = forms.TypedChoiceField(
        label=_("Search for"),
        coerce=int,
        initial=20,
        empty_value=20,  # type: ignore[arg-type]  # after coercion: a number
        required=False,
        choices=[(seconds, _("%(seconds)s seconds") % {"seconds": seconds}) for seconds in SECONDS],
    )

    def __init__(self, *args: Any, branch_names: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["branch"].choices = [(name, name) for name in branch_names]  # type: ignore[attr-defined]  # a choice field


@require_http_methods(["GET", "POST"])
def plan_asked(request: HttpRequest) -> HttpResponse:
    """Ask for a new plan of one branch; the search runs elsewhere and this page leads to it."""
    who = access.office(request)
    names = branches()
    data = request.POST if request.method == "POST" else None
    form = PlanAskForm(data, branch_names=names, initial={"branch": request.GET.get("branch")})
    if request.method == "POST" and form.is_valid():
        run = plan_ask(who.contractor, by=who, **form.cleaned_data)
        return redirect("plan-run", run.pk)
    status = 422 if form.errors else 200
    return render(request, "scheduling/plan_asked.html", {"form": form, "branches": names}, status=status)


@require_safe
def plan_run(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """How the search stands; asked again every second by htmx, or by the browser where scripts are off."""
    access.office(request)
    run = access.own(PlanRun, pk)
    page = "scheduling/plan_run_now.html" if request.headers.get("HX-Request") else "scheduling/plan_run.html"
    begun = run.claimed_at or run.asked_at
    seconds = max(0, min(run.seconds, round((clock.now() - begun).total_seconds())))
    context = {
        "run": run,
        "units": Firm.objects.values_list("units", flat=True).get(),
        "over": run.state in OVER,
        "words": plan_words(run.progress, points_a_day()),
        "seconds": seconds,
        "share": round(100 * seconds / run.seconds) if run.seconds else 0,
    }
    return render(request, page, context)


@require_POST
def plan_run_stop(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    who = access.office(request)
    run = access.own(PlanRun, pk)
    run_cancel(run, by=who)
    return redirect("plan-run", run.pk)
