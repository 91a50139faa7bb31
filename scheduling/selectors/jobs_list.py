"""The list of jobs: where each stands, in words. Four queries, whatever the number of jobs."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import Case, F, Func, Q, QuerySet, TextField, Value, When
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from jobs.models import ExpectedDates, Job, JobState
from scheduling.models import PlanState, Stage, Stint, StintState

OPEN: Final = "open"
ALL: Final = "all"
MOST_WORDS: Final = 8
BETWEEN_DIGITS: Final = re.compile(r"(?<=[\d)])[\s().-]+(?=[\d(])")  # a telephone number is one word
LEAST_DIGITS: Final = 4  # of a telephone number; fewer would find every second one
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
    """Jobs by words and by state; *words* search all states, open jobs first.

    Each word has to stand somewhere: in site, address, pool owner, telephone, e-mail, or be the number.
    """
    found: QuerySet[Job] = Job.objects.select_related("site", "pool_owner").order_by("-number")
    if words:
        over = Case(When(state__in=OPEN_STATES, then=Value(0)), default=Value(1))
        found = found.annotate(called=_digits("pool_owner__phone")).order_by(over, "-number")
        for word in BETWEEN_DIGITS.sub("", words).split()[:MOST_WORDS]:
            found = found.filter(_has(word))
        return found
    if state in JobState.values:
        return found.filter(state=state)
    return found if state == ALL else found.filter(state__in=OPEN_STATES)


def _has(word: str) -> Q:
    match = Q(site__label__icontains=word) | Q(site__address__icontains=word)
    match |= Q(pool_owner__name__icontains=word) | Q(pool_owner__email__icontains=word)
    digits = "".join(sign for sign in word if sign.isascii() and sign.isdigit())
    if len(digits) >= LEAST_DIGITS:
        match |= Q(called__contains=digits)
    if word.isdecimal() and len(word) < 10:
        match |= Q(number=int(word))
    return match


def _digits(field: str) -> Func:
    """The digits of a telephone number, however it was typed."""
    return Func(F(field), Value("[^0-9]"), Value(""), Value("g"), function="regexp_replace", output_field=TextField())


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
    alive = Q(state__in=(StintState.ISSUED, StintState.BEGUN), ends__gte=now)
    held = Q(state=StintState.PROPOSED, stage=Stage.DRAIN_SETUP, plan__state=PlanState.ISSUED)
    return Stint.objects.filter(alive | held, job__in=jobs).order_by("starts", "key")


def _row(job: Job, band: dict[str, Any], ahead: Stint | None) -> JobRow:
    even, sure = (_date(band.get(name)) if job.fill_ahead else None for name in ("p50", "p90"))
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
    if ahead.state == StintState.PROPOSED:
        return _("%(state)s; next: drain, %(day)s, held until the groundwater is recorded") % {
            "state": state,
            "day": day,
        }
    return _("%(state)s; next: %(stage)s, %(day)s") % {"state": state, "stage": ahead.get_stage_display(), "day": day}


def day_words(day: dt.date) -> str:
    """A date with its weekday, short."""
    return str(date_format(day, "D j M"))


def _date(text: str | None) -> dt.date | None:
    return dt.date.fromisoformat(text) if text else None
