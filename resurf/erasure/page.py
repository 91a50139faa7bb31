"""The manager's page: what an erasure takes, what stays and why, and, afterwards, what it took."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import ngettext

from jobs.models import Job, Photo, Site, SiteLog
from resurf.erasure.extent import Extent, erasure_extent
from resurf.erasure.rows import ERASED
from resurf.erasure.service import pool_owner_erase
from scheduling.models import Mail, PhoneEntry
from shared import access
from shared.models import AccessToken, AuditEntry


class EraseForm(forms.Form):
    """The name once more, so that nobody is erased by a slip."""

    name = forms.CharField(
        label=_l("The pool owner's name, as it stands above"),
        max_length=120,
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
    )
    sure = forms.BooleanField(label=_l("Nothing obliges us to keep these data; this cannot be undone"))

    def __init__(self, *args: Any, name: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.wanted = name

    def clean_name(self) -> str:
        typed = str(self.cleaned_data["name"])
        if " ".join(typed.split()) != " ".join(self.wanted.split()):
            raise ValidationError(
                _("“%(typed)s” is not the name of this pool owner, “%(name)s”: nothing was erased.")
                % {"typed": typed, "name": self.wanted}
            )
        return typed


def erase(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """For managers: typed confirmation, then the result on the same page."""
    who = access.manager(request)
    job = access.own(Job, pk, "pool_owner", "site")
    extent = erasure_extent(job.pool_owner)
    done = AuditEntry.objects.filter(what="pool owner erased", subject_id=job.pool_owner_id).order_by("pk").last()
    open_jobs = [each for each in extent.jobs if each.is_open]
    may = not open_jobs and not (done and job.pool_owner.name == ERASED)
    form = EraseForm(request.POST or None, name=job.pool_owner.name)
    if request.method == "POST" and may and form.is_valid():
        pool_owner_erase(who.contractor, job.pool_owner, by=who)
        messages.success(request, _("The pool owner's personal data are erased."))
        return redirect("pool-owner-erase", job.pk)
    shown = {
        "job": job,
        "extent": extent,
        "open_jobs": open_jobs,
        "may": may,
        "form": form,
        "goes": _goes(extent) if may else [],
        "done": done,
        "took": took(done) if done else [],
    }
    wrong = request.method == "POST"
    return render(request, "resurf/erase.html", shown, status=422 if wrong else 200)


def _goes(extent: Extent) -> list[tuple[str, str]]:
    """(what, how much) of what an erasure would take now."""
    jobs, owner, home = extent.jobs, extent.pool_owner, extent.sites
    mails = Mail.objects.filter(Q(receiver__in=extent.receivers) | Q(notices__job__in=jobs)).distinct().count()
    links = AccessToken.objects.filter(
        subject_id__in=[*(job.pk for job in jobs), *extent.receivers], revoked_at=None
    ).count()
    known = [word for word in (owner.name, owner.email, owner.phone) if word]
    places = "; ".join(_place(site) for site in home) or _("none: other pool owners live there by now")
    return [
        (_("Name, e-mail, telephone"), ", ".join(known)),
        (_("Name, address, notes and exact position of the site"), places),
        (
            _("Notes of jobs and surveys, reasons in free text"),
            ngettext("of %(count)d job", "of %(count)d jobs", len(jobs)) % {"count": len(jobs)},
        ),
        (_("Photos"), str(Photo.objects.filter(pool__site__in=home).count())),
        (_("Words logged on site, and what phones sent"), _entries(extent)),
        (_("Texts of mails and notices, sent or waiting"), str(mails)),
        (_("Private links and calendar links, ended at once"), str(links)),
        (_("The same words wherever else they were typed"), _("other jobs, plans, calls to other systems")),
    ]


def _place(site: Site) -> str:
    return f"{site.label}, {site.address}" if site.address else site.label


def _entries(extent: Extent) -> str:
    logs = SiteLog.objects.filter(job__in=extent.jobs).count()
    phones = PhoneEntry.objects.filter(job__in=extent.jobs).count()
    return _("%(logs)d entries, %(phones)d from phones") % {"logs": logs, "phones": phones}


def took(done: AuditEntry) -> list[tuple[str, int]]:
    """(what, how many rows) of an erasure, from its line in the trail."""
    words = {
        "pool owner": _("pool owner"),
        "jobs": _("jobs"),
        "sites": _("sites"),
        "surveys": _("notes of surveys"),
        "scopes": _("reasons of scopes"),
        "outcomes": _("reasons of outcomes"),
        "band": _("reasons of dates"),
        "logs": _("entries of the site"),
        "entries of phones": _("entries as phones sent them"),
        "notices": _("notices"),
        "mails": _("mails"),
        "links": _("links"),
        "answers of hooks": _("answers of other systems"),
        "answers of the API": _("answers kept for programs"),
        "plans": _("positions in plans"),
        "photos": _("photos"),
        "other texts": _("other texts that named them"),
        "trail": _("entries of the trail whose values were blanked"),
    }
    counts = done.after or {}
    return [(said, counts[name]) for name, said in words.items() if counts.get(name)]
