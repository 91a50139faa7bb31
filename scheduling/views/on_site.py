"""What the pages of one job on site share: who may enter, the job with its firm, and the site's own clock."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator
from functools import update_wrapper
from typing import Any, Concatenate, ParamSpec, cast

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from jobs.models import Job
from scheduling.selectors.site_conflicts import stints_seen
from shared import access, clock
from shared.models import Firm, Membership

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponse]


def kept_on_phone(view: View[P]) -> View[P]:
    """The page may stay on the phone of this member until the log-out, and nowhere else."""

    def shown(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        request.rendered_at = clock.now()  # type: ignore[attr-defined]  # handed on with it
        answer = view(request, *args, **kwargs)
        answer.headers["Cache-Control"] = "private, no-store"
        answer.headers["X-Kept-For"] = getattr(request, "phone_owner", "")
        return answer

    return cast("View[P]", update_wrapper(shown, view))


def job_on_site(request: HttpRequest, pk: uuid.UUID) -> tuple[Membership, Job, Firm]:
    who = access.crew_or_office(request)
    return who, access.own(Job, pk, "site", "pool", "pool_owner"), Firm.objects.get()


def site_page(
    request: HttpRequest, template: str, job: Job, firm: Firm, context: dict[str, Any], status: int = 200
) -> HttpResponse:
    """The page with all times in the zone of the site and all figures in the firm's units."""
    shown = {"job": job, "firm": firm, "units": firm.units, "seen": stints_seen(job), **context}
    with timezone.override(job.site.tz):
        answer = render(request, template, shown, status=status)
    if status >= 400:
        bound = context.get("forms", {}).values()
        answer.refusals = [line for form in bound for line in _refusals(form)]  # type: ignore[attr-defined]  # handed on with it
    return answer


def _refusals(form: forms.BaseForm) -> Iterator[str]:
    """What is wrong with a filled form, in sentences."""
    if form.is_bound:
        for name, sentences in form.errors.items():
            label = str(form.fields[name].label or "") if name in form.fields else ""
            for said in sentences:
                yield str(said) if not label or label in str(said) else f"{label}: {said}"
