"""Fill bands with the stints of a plan that nobody has issued, in place of those in force; nothing is kept."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from jobs.models import ExpectedDates, Job
from jobs.selectors.quantities import scope_latest
from jobs.selectors.weather import site_weather
from scheduling.models import Stint, StintState
from scheduling.selectors.outlook import Effort, Setting, outlook_of
from scheduling.selectors.plan_stints import stage_of
from scheduling.services.expected_dates import setting_of
from shared.models import Contractor

Timed = Mapping[tuple[str, str], tuple[str, dt.datetime, dt.datetime]]
"""(job, stage) to (crew, start, end), as :func:`scheduling.selectors.plan_stints.timed_stints` gives them."""


class TrialBands:
    """Bands as expected dates have them: the same weather scenarios, the room of the crews beside other stints.

    *jobs* are all jobs of the plan by id, with site and pool at hand.
    """

    def __init__(self, contractor: Contractor, jobs: Mapping[str, Job], now: dt.datetime, effort: Effort) -> None:
        self.jobs, self.now = jobs, now
        self.setting: Setting = setting_of(contractor, effort)

    def of(self, job: Job, timed: Timed) -> Mapping[str, Any] | None:
        """The band of a job; None where it has no expected dates."""
        scope, weather = scope_latest(job), site_weather(job.site, self.setting.firm.source)
        known = ExpectedDates.objects.filter(job=job).first()
        if scope is None or weather is None or known is None:
            return None
        setting = replace(self.setting, stints=self._others(job, timed))
        computed = outlook_of(job, scope, setting, weather, self._own(job, timed), self.now, known)
        band: Mapping[str, Any] = computed["band"]
        return band

    def _own(self, job: Job, timed: Timed) -> list[Stint]:
        """Stints of the job in this plan that are never stored, after those that have begun."""
        past = list(Stint.objects.filter(job=job, state__in=(StintState.BEGUN, StintState.DONE)))
        return past + [_stint(job, key, *time) for (name, key), time in timed.items() if name == str(job.pk)]

    def _others(self, job: Job, timed: Timed) -> Sequence[Stint]:
        """What the others do in this plan, and what the plan does not know of."""
        decided = {name for name, _key in timed}
        stay = [s for s in self.setting.stints if str(s.job_id) not in decided and s.job_id != job.pk]
        others = [(name, key, time) for (name, key), time in timed.items() if name != str(job.pk)]
        return stay + [_stint(self.jobs[name], key, *time) for name, key, time in others]


def _stint(job: Job, key: str, crew: str, starts: dt.datetime, ends: dt.datetime) -> Stint:
    """A stint in memory only."""
    return Stint(
        contractor_id=job.contractor_id,
        job_id=job.pk,
        crew_id=crew,
        key=key,
        stage=stage_of(key),
        state=StintState.ISSUED,
        starts=starts,
        ends=ends,
    )
