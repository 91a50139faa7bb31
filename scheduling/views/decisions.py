from __future__ import annotations

from dataclasses import dataclass

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from jobs.services.dates_ask import weather_ask
from scheduling.selectors.decision_facts import decision_facts
from scheduling.selectors.decision_kinds import KINDS
from scheduling.selectors.decisions import Decision, next_stint, until_words
from scheduling.selectors.decisions import decisions as decisions_of
from scheduling.selectors.next_step import guide
from shared import access, clock


@require_safe
def decisions(request: HttpRequest) -> HttpResponse:
    """What needs the office, the dearest to leave first; for a new firm, what to do first."""
    who = access.member(request)
    if not who.is_office:
        return redirect("today")  # where a crew lead's day begins
    facts = decision_facts(who.contractor, clock.now())
    found = decisions_of(facts, KINDS)
    steps = guide(facts, may_change=who.is_manager)
    context = {
        "lines": [_shown(line, until_words(line, facts.now, facts.units)) for line in found],
        "guide": steps,
        "now": next((step for step in steps if not step.done), None),
        "next": next_stint(facts),
        "units": facts.units,
    }
    return render(request, "scheduling/decisions.html", context)


@dataclass(frozen=True)
class Shown:
    """A line with its sentence cut at the site's name, which leads to the job, and by when to decide."""

    line: Decision
    until: str
    before: str
    name: str
    after: str


def _shown(line: Decision, until: str) -> Shown:
    label = line.job.site.label if line.job else ""
    before, name, after = line.risk.partition(label) if label else (line.risk, "", "")
    return Shown(line, until, before, name, after)


@require_POST
def weather_again(request: HttpRequest) -> HttpResponse:
    """Ask the sources of weather now; expected dates follow."""
    weather_ask(access.office(request).contractor, clock.now())
    messages.success(request, _("The weather is being fetched; dates follow within minutes."))
    return redirect("home")
