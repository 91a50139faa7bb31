from __future__ import annotations

from dataclasses import dataclass

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from jobs.forms.first_call import (
    FirstPoolForm,
    PoolOwnerForm,
    SiteForm,
    ToldForm,
    WorkForm,
    refusal_sentences,
    zones_near,
)
from jobs.forms.sentences import in_units
from jobs.models import Job
from jobs.selectors.sites import branches
from jobs.services.first_call import job_open
from shared import access
from shared.models import Contractor, Firm, Membership


@dataclass(frozen=True)
class Call:
    """The forms of one call, asked in this order."""

    told: ToldForm
    pool_owner: PoolOwnerForm
    site: SiteForm
    pool: FirstPoolForm
    work: WorkForm

    @property
    def forms(self) -> tuple[BaseForm, ...]:
        return self.told, self.pool_owner, self.site, self.pool, self.work

    def is_valid(self) -> bool:
        found = [form.is_valid() for form in self.forms]  # every form says all it has to say
        return all(found)

    @property
    def refused(self) -> bool:
        return any(form.errors for form in self.forms)


def job_new(request: HttpRequest) -> HttpResponse:
    """The first call; nothing is kept unless all of it can be, and everything typed stays on the page."""
    who = access.office(request)
    units = Firm.objects.get().units
    call = _call(request.POST if request.method == "POST" else None, units, who.contractor)
    if request.method == "POST" and call.is_valid():
        job = _open(call, who, units)
        if job is not None:
            messages.success(request, _("Job %(number)s is open. Go on with the survey.") % {"number": job.number})
            return redirect("survey", job.pk)
    shown = {"call": call, "zones": zones_near(who.contractor.zone), "branches": branches()}
    return render(request, "jobs/first_call.html", shown, status=422 if call.refused else 200)


def _call(data: QueryDict | None, units: str, contractor: Contractor) -> Call:
    usual = {
        "zone": contractor.zone,
        "branch": (branches() or ["main"])[0],
        "quiet_until_min": 420,
        "quiet_from_min": 1140,
        "hoses": 2,
        "discharge_limit_l_min": 150.0,
    }
    return Call(
        told=ToldForm(data, prefix="told", units=units),
        pool_owner=PoolOwnerForm(data, prefix="owner"),
        site=SiteForm(data, prefix="site", units=units, initial=usual),
        pool=FirstPoolForm(data, prefix="pool", units=units),
        work=WorkForm(data, prefix="work"),
    )


def _open(call: Call, who: Membership, units: str) -> Job | None:
    """The job, or None with the service's sentences beside their fields."""
    notes = "\n".join(text for text in (call.told.notes, call.work.cleaned_data["notes"]) if text)
    try:
        return job_open(
            who.contractor,
            by=who,
            pool_owner=call.pool_owner.cleaned_data,
            site=call.site.site,
            pool=call.pool.measures,
            finish=call.work.cleaned_data["finish"],
            earliest_date=call.work.cleaned_data["earliest_date"],
            notes=notes,
            answers=call.told.answers,
        )
    except ValidationError as refused:
        for name, sentences in refusal_sentences(refused).items():
            form = next((form for form in call.forms if name in form.fields), call.pool)
            for sentence in sentences:
                form.add_error(name if name in form.fields else None, in_units(sentence, units))
        return None
