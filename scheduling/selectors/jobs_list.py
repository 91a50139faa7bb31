"""The list of jobs: where each stands, in words. Four queries, whatever the number of jobs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import Q, QuerySet
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from jobs.models import ExpectedDates, Job, JobState
from scheduling.models import Stint, StintState

OPEN: Final = "open"
ALL: Final = "all"
OPEN_STATES: Final = tuple(state for state in JobState.values if state not in (JobState.FINISHED, JobState.CALLED_OFF))
FILTERS: Final = ((OPEN, _l("not finished")), *JobState.choices, (ALL, _l("all")))


@dataclass(frozen=True)
class JobRow:
    """A job with a sentence of where it stands."""

    job: Job
    stands: str
    promised: dt.date | None
    even: dt.date | None
    sure: dt.date | None


def jobs_found(words: str, state: str) -> QuerySet[Job]:
    """Jobs by words of site, address, pool owner or number, and by state; *words* search all states."""
    found: QuerySet[Job] = Job.objects.select_related("site", "pool_owner").order_by("-number")
    if words:
        match = Q(site__label__icontains=words) | Q(site__address__icontains=words)
        match |= Q(pool_owner__name__icontains=words)
        if words.isdecimal() and len(words) < 10:
            match |= Q(number=int(words[:9]))
        return found.filter(match)
    if state in JobState.values:
        return found.filter(state=state)
    return found if state == ALL else found.filter(state__in=OPEN_STATES)


def job_by_number(words: str) -> Job | None:
    """The job of exactly this number."""
    digits = words.removeprefix("#").strip()
    return Job.objects.filter(number=int(digits)).first() if digits.isdecimal() and len(digits) < 10 else None


def job_rows(jobs: Sequence[Job], now: dt.datetime) -> list[JobRow]:
    bands = {row.job_id: row.band or {} for row in ExpectedDates.objects.filter(job__in=jobs).defer("rows", "verdicts")}
    ahead: dict[Any, Stint] = {}
    for stint in _next_stints(jobs, now):
        ahead.setdefault(stint.job_id, stint)
    return [_row(job, bands.get(job.pk, {}), ahead.get(job.pk)) for job in jobs]


def _next_stints(jobs: Sequence[Job], now: dt.datetime) -> Iterable[Stint]:
    alive = (StintState.ISSUED, StintState.BEGUN)
    return Stint.objects.filter(job__in=jobs, state__in=alive, ends__gte=now).order_by("starts")


def _row(job: Job, band: dict[str, Any], ahead: Stint | None) -> JobRow:
    dated = job.is_open and job.state not in (JobState.SURVEYED, JobState.FIRST_MONTH)
    even, sure = (_date(band.get(name)) if dated else None for name in ("p50", "p90"))
    return JobRow(job, _stands(job, ahead), job.promised_date, even, sure)


def _stands(job: Job, ahead: Stint | None) -> str:
    """Where it stands and what comes next: "under way; next: bond coat, Thursday 26 November"."""
    state = str(job.get_state_display())
    if job.filled_on and job.state in (JobState.FIRST_MONTH, JobState.FINISHED):
        state = _("%(state)s; full since %(day)s") % {"state": state, "day": day_words(job.filled_on)}
    if job.state == JobState.SURVEYED:
        return _("%(state)s; the scope is not agreed") % {"state": state}
    if job.state == JobState.SCOPE_AGREED:
        state = _("%(state)s; no date promised") % {"state": state}
    if ahead is None or not job.is_open:
        return state
    day = day_words(ahead.starts.astimezone(job.site.tz).date())
    return _("%(state)s; next: %(stage)s, %(day)s") % {"state": state, "stage": ahead.get_stage_display(), "day": day}


def day_words(day: dt.date) -> str:
    """A date with its weekday, short."""
    return str(date_format(day, "D j M"))


def _date(text: str | None) -> dt.date | None:
    return dt.date.fromisoformat(text) if text else None
