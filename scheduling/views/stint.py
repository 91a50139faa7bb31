from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_POST, require_safe

from jobs.models import Job
from jobs.selectors.quantities import firm_rates, scope_latest
from scheduling.forms.when import MomentField
from scheduling.models import Stage, Stint, StintState
from scheduling.selectors.bring import bring
from scheduling.selectors.other_outcome import in_doubt, other_outcome
from scheduling.selectors.problem import planning_problem
from scheduling.selectors.stint_cautions import stint_cautions
from scheduling.selectors.stint_others import stint_others
from scheduling.selectors.stint_view import stint_why
from scheduling.services.plan_parts import stint_propose
from scheduling.services.plans import stint_keep, stint_mark, stint_undone
from scheduling.slots import DAY_SLOTS
from scheduling.solver.problem import ProblemError
from shared import access, clock
from shared.models import AuditEntry, Firm, Membership

# Stages that the other outcome of a scope would change or push.
IN_DOUBT = (Stage.PREP, Stage.BOND, Stage.BOND_AGAIN, Stage.PLASTER, Stage.FILL_START, Stage.FILL_END)
FARTHEST_BACK = dt.timedelta(days=60)


class StintMarkForm(forms.Form):
    """What became of a stint."""

    state = forms.ChoiceField(
        label=_("What happened"),
        choices=[("begun", _("begun")), ("done", _("done")), ("undone", _("not done"))],
    )
    at = MomentField(label=_("When"), required=False)
    hours = forms.FloatField(
        label=_("Hours worked by the crew"),
        required=False,
        min_value=0.0,
        max_value=200.0,
        help_text=_("0 to 200 h; the firm's own rates are learned from it."),
        error_messages={
            "min_value": _("Hours worked is less than 0; allowed is 0 to 200 h."),
            "max_value": _("Hours worked is more than 200; allowed is 0 to 200 h."),
            "invalid": _("Hours worked must be a number from 0 to 200 h."),
        },
    )
    why = forms.CharField(label=_("Why not"), required=False, max_length=240)

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        at, now = cleaned.get("at"), clock.now()
        if at is not None and not now - FARTHEST_BACK <= at <= now + dt.timedelta(minutes=10):
            self.add_error("at", _("The time lies in the future or more than 60 days back; allowed is up to now."))
        if cleaned.get("state") == "undone" and not cleaned.get("why", "").strip():
            self.add_error("why", _("Say in a few words why it did not happen."))
        return cleaned


class StintMoveForm(forms.Form):
    """Where a stint should be instead: the crew, and the slot counted from a day."""

    crew = forms.UUIDField(label=_("Crew"))
    first_day = forms.DateField(label=_("Day"))
    start = forms.IntegerField(label=_("Start"), min_value=0, max_value=400 * DAY_SLOTS)


@require_safe
def stint(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """One stint: as a page of its own, or to be opened under its row."""
    who = access.office(request)
    return _page(request, who, _own(pk))


@require_POST
def keep(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    who = access.office(request)
    found = _own(pk)
    try:
        stint_keep(found, kept=request.POST.get("kept") == "1", by=who)
    except ValidationError as refused:
        return _page(request, who, found, refused=refused.messages)
    return redirect("stint", pk)


@require_POST
def mark(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    who = access.office(request)
    found = _own(pk)
    form = StintMarkForm(request.POST)
    if not form.is_valid():
        return _page(request, who, found, form=form)
    wanted = form.cleaned_data
    try:
        if wanted["state"] == "undone":
            stint_undone(found, by=who, why=wanted["why"].strip())
        else:
            at = wanted["at"] or clock.now()
            stint_mark(found, StintState(wanted["state"]), at=at, by=who, hours=wanted["hours"])
    except ValidationError as refused:
        return _page(request, who, found, form=form, refused=refused.messages)
    return redirect("home") if request.POST.get("back") == "home" else redirect("stint", pk)


@require_safe
def others(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """The three best other places, priced on the whole plan: asked by the page once it is there, or a page itself."""
    who = access.office(request)
    found = _own(pk)
    units = Firm.objects.values_list("units", flat=True).get()
    context = {"stint": found, "others": stint_others(who.contractor, found, clock.now(), units), "units": units}
    fragment = bool(request.headers.get("HX-Request"))
    return render(request, f"scheduling/stint_others{'' if fragment else '_page'}.html", context)


@require_POST
def move(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """Propose the plan in force with this stint at another place."""
    who = access.office(request)
    found = _own(pk)
    form = StintMoveForm(request.POST)
    if not form.is_valid():
        refused = [str(error) for errors in form.errors.values() for error in errors]
        return _page(request, who, found, refused=refused)
    wanted = form.cleaned_data
    planned = planning_problem(who.contractor, clock.now(), branch=found.job.site.branch)
    start = wanted["start"] + DAY_SLOTS * (wanted["first_day"] - planned.clock.first_day).days
    why = _("%(stage)s of job %(number)s moved by hand") % {
        "stage": found.get_stage_display(),
        "number": found.job.number,
    }
    try:
        stint_propose(who.contractor, planned, (str(found.job_id), found.key), str(wanted["crew"]), start, why=str(why))
    except (ValidationError, ProblemError) as refused:
        said = refused.messages if isinstance(refused, ValidationError) else [str(refused)]
        return _page(request, who, found, refused=said)
    return redirect("changes")


@require_safe
def outcome(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """What the other outcome of a scope that was not sounded dry would push; a part of a page, or one of its own."""
    who = access.office(request)
    job = access.own(Job, pk, "site", "pool")
    found = other_outcome(who.contractor, job, clock.now()) if job.is_open and job.filled_on is None else None
    fragment = bool(request.headers.get("HX-Request"))
    page = f"scheduling/other_outcome{'' if fragment else '_page'}.html"
    return render(request, page, {"job": job, "found": found})


def _own(pk: uuid.UUID) -> Stint:
    return access.own(Stint, pk, "job__site", "job__pool", "job__pool_owner", "crew__lead__person", "plan")


def _page(
    request: HttpRequest,
    who: Membership,
    found: Stint,
    *,
    form: StintMarkForm | None = None,
    refused: list[str] | None = None,
) -> HttpResponse:
    firm = Firm.objects.get()
    scope = scope_latest(found.job)
    zone = found.job.site.tz
    context = {
        "stint": found,
        "starts": found.starts.astimezone(zone),
        "ends": found.ends.astimezone(zone),
        "begun_at": found.begun_at and found.begun_at.astimezone(zone),
        "done_at": found.done_at and found.done_at.astimezone(zone),
        "why": stint_why(who.contractor, found, clock.now(), firm.units),
        "others": None,
        "in_doubt": in_doubt(scope) is not None and found.stage in IN_DOUBT,
        "bring": bring(found, scope, firm_rates(firm), firm.units),
        "cautions": stint_cautions(found, scope),
        "form": form or StintMarkForm(initial={"state": "done", "at": min(clock.now(), found.ends).astimezone(zone)}),
        "open": found.state in (StintState.ISSUED, StintState.BEGUN, StintState.PROPOSED),
        "held": found.state == StintState.PROPOSED,
        "refused": refused or (),
        "audit": AuditEntry.objects.filter(subject_id=found.pk).order_by("-at")[:20],
        "units": firm.units,
    }
    page = "scheduling/stint_inside.html" if request.headers.get("HX-Request") else "scheduling/stint.html"
    return render(request, page, context, status=422 if refused or (form is not None and form.errors) else 200)
