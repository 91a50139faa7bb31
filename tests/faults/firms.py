"""The firms of a day of faults: an issued plan, a fill under way, a calendar, a source of weather, a hook."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import Final

from django.db import connection
from django.urls import reverse

from jobs.models import Job, LogKind
from jobs.services.weather_files import weather_source_set
from scheduling.models import Hook
from scheduling.services.hooks import CHOSEN, hook_make
from scheduling.services.site_work import site_log
from shared import clock
from shared.models import Firm as FirmRow
from shared.models import TokenKind
from shared.services.tokens import token_for
from shared.tenancy.context import acting_for
from tests.cast import FirmCast, expect, issue, make_firm, open_job
from tests.faults.receiver import Receiver

APART_DEG: Final = 0.1  # between the two places of a firm's sites: two cells of weather
FILLING_SINCE: Final = dt.timedelta(hours=3)


@dataclass(frozen=True)
class Firm:
    """Its word, the ids of its jobs and crews, the job that is being filled, and the path of its calendar."""

    slug: str
    jobs: list[str]
    crews: list[str]
    filling: str
    feed: str


def three_firms(
    slugs: Sequence[str], jobs_each: int, sources: Sequence[str] = (), calls: Receiver | None = None
) -> list[Firm]:
    """Each firm with an issued plan; sources of weather and the receiver of hooks where they are given."""
    found = [_firm(slug, jobs_each, source or "", calls) for slug, source in zip_longest(slugs, sources) if slug]
    connection.close()
    return found


def _firm(slug: str, jobs_each: int, source: str, calls: Receiver | None) -> Firm:
    firm = make_firm(slug, f"{slug.title()} Basin Works", "us")
    with acting_for(firm.contractor.pk):
        weather_source_set(FirmRow.objects.get(), source, by=firm.manager)
        if calls is not None:
            hook = hook_make(f"{calls.url}/{slug}", [event.value for event in CHOSEN], by=firm.manager)
            calls.secrets[f"/{slug}"] = Hook.objects.get(pk=hook.pk).secret
    jobs = [
        open_job(firm, label=f"Site {number:02d}", site={"latitude": 36.1 + APART_DEG * (number % 2)})
        for number in range(jobs_each)
    ]
    for job in jobs:
        expect(job, firm)
    issue(firm)
    _begin_fill(jobs[0], firm)
    with acting_for(firm.contractor.pk):
        secret = token_for(TokenKind.FEED, "firm", made_by="faults").secret
    crews = [str(crew.pk) for crew in firm.crews.values()]
    return Firm(slug, [str(job.pk) for job in jobs], crews, str(jobs[0].pk), reverse("feed", args=[secret]))


def _begin_fill(job: Job, firm: FirmCast) -> None:
    with acting_for(firm.contractor.pk):
        data = {"action": "started", "hoses": 1}
        site_log(job, kind=LogKind.HOSE, by=firm.crew_lead, at=clock.now() - FILLING_SINCE, data=data)
