from __future__ import annotations

import uuid

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from jobs.forms.first_call import refusal_sentences, zones_near
from jobs.forms.job_change import PoolOwnerChangeForm, SiteChangeForm, WorkChangeForm, site_initial, work_initial
from jobs.models import Job
from jobs.selectors.sites import branches
from jobs.services.corrections import job_correct
from jobs.services.dates_ask import dates_ask
from shared import access
from shared.models import Firm


def job_change(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """Correct pool owner, site and work; expected dates follow."""
    who = access.office(request)
    job = access.own(Job, pk, "site", "pool", "pool_owner")
    units, data = Firm.objects.get().units, request.POST if request.method == "POST" else None
    owner_initial = {name: getattr(job.pool_owner, name) for name in PoolOwnerChangeForm.Meta.fields}
    owner = PoolOwnerChangeForm(data, prefix="owner", initial=owner_initial)
    site = SiteChangeForm(data, prefix="site", units=units, initial=site_initial(job.site))
    work = WorkChangeForm(data, prefix="work", initial=work_initial(job))
    forms = (owner, site, work)
    if request.method == "POST" and all([form.is_valid() for form in forms]):  # noqa: C419  (each says all it has)
        try:
            job_correct(job, by=who, pool_owner=owner.cleaned_data, site=site.site, work=work.cleaned_data)
        except ValidationError as refused:
            for name, sentences in refusal_sentences(refused).items():
                form = next((form for form in forms if name in form.fields), work)
                form.add_error(name if name in form.fields else None, sentences)
        else:
            dates_ask(who.contractor)
            messages.success(request, _("Kept."))
            return redirect("job", job.pk)
    shown = {
        "job": job,
        "owner": owner,
        "site": site,
        "work": work,
        "zones": zones_near(job.site.zone),
        "branches": branches(),
    }
    return render(request, "jobs/job_change.html", shown, status=422 if any(form.errors for form in forms) else 200)
