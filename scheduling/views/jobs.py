from __future__ import annotations

from typing import Final

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from jobs.models import Job
from scheduling.selectors.jobs_list import FILTERS, OPEN, job_by_number, job_rows, jobs_found
from shared import access, clock

A_PAGE: Final = 100
AT_ONCE: Final = 7


def jobs(request: HttpRequest) -> HttpResponse:
    """The list of jobs; a job's number in the search goes straight to the job; `?quick` is what shows while typing."""
    access.office(request)
    words = request.GET.get("q", "").replace("\0", "").strip()[:120]
    if "quick" in request.GET:
        return _quick(request, words)
    exact = job_by_number(words)
    if exact is not None:
        return redirect("job", exact.pk)
    state = request.GET.get("state", OPEN)
    page = Paginator(jobs_found(words, state), A_PAGE).get_page(request.GET.get("page"))
    shown = {
        "rows": job_rows(list(page), clock.now()),
        "page": page,
        "words": words,
        "state": "" if words else state,
        "filters": FILTERS,
        "any": bool(page) or Job.objects.exists(),
    }
    return render(request, "scheduling/jobs.html", shown)


def _quick(request: HttpRequest, words: str) -> HttpResponse:
    """The first few jobs with their dates: enough to answer "when is my pool?" without leaving the page."""
    found = list(jobs_found(words, OPEN)[: AT_ONCE + 1]) if words else []
    shown = {"rows": job_rows(found[:AT_ONCE], clock.now()), "more": len(found) > AT_ONCE, "words": words}
    return render(request, "scheduling/jobs_quick.html", shown)
