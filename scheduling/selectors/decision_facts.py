"""What the decisions are made of: open jobs, their dates, stints, plans and records, in a fixed number of queries."""

from __future__ import annotations

import datetime as dt
import uuid
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from django.db.models import Exists, Max, OuterRef

from jobs.models import ExpectedDates, Job, JobState, Photo
from jobs.selectors.clearance import Clearance, drain_clearances
from jobs.selectors.survey_state import SurveyState, survey_states
from scheduling.models import Absence, Crew, Plan, PlanRun, PlanState, RunState, Shift, Stage, Stint, StintState
from scheduling.selectors.fill_watch import FillSheet, fill_sheets
from shared.models import Contractor, Firm

OVER: Final = (JobState.FINISHED, JobState.CALLED_OFF)


@dataclass(frozen=True)
class DecisionFacts:
    """Everything the kinds of decisions look at."""

    contractor: Contractor
    units: str
    now: dt.datetime
    jobs: Sequence[Job]
    stints: Mapping[uuid.UUID, Sequence[Stint]]
    expected: Mapping[uuid.UUID, Mapping[str, Any]]
    clearances: Mapping[uuid.UUID, Clearance]
    plans: Sequence[Plan]
    runs: Mapping[str, PlanRun] = field(default_factory=dict)
    crews: Sequence[Crew] = ()
    absences: Sequence[Absence] = ()
    shifts: Sequence[Shift] = ()
    surveys: Mapping[uuid.UUID, SurveyState] = field(default_factory=dict)
    fills: Mapping[uuid.UUID, FillSheet] = field(default_factory=dict)

    def today(self, job: Job) -> dt.date:
        return self.now.astimezone(job.site.tz).date()

    def alive(self, job: Job) -> Sequence[Stint]:
        return self.stints.get(job.pk, ())

    def stint(self, job: Job, *keys: str) -> Stint | None:
        """The last stint of these stages that is not dropped."""
        found = [stint for stint in self.alive(job) if stint.key in keys]
        return found[-1] if found else None

    def band(self, job: Job) -> Mapping[str, Any]:
        row = self.expected.get(job.pk) if job.fill_ahead else None
        return (row or {}).get("band") or {}

    def share_by(self, job: Job, day: dt.date) -> float:
        """Chance that the pool is full on this day or before."""
        rows = self.band(job).get("chance_by") or ()
        return max((share for text, share in rows if dt.date.fromisoformat(text) <= day), default=0.0)

    def days_until(self, at: dt.datetime) -> float:
        return (at - self.now) / dt.timedelta(days=1)


def decision_facts(contractor: Contractor, now: dt.datetime) -> DecisionFacts:
    firm = Firm.objects.get()
    jobs = list(
        Job.objects.exclude(state__in=OVER)
        .annotate(surveyed_at=Max("pool__surveys__taken_at"))
        .annotate(has_photo=Exists(Photo.objects.filter(pool=OuterRef("pool"))))
        .select_related("site", "pool", "pool_owner")
        .order_by("number")
    )
    by_pk = {job.pk: job for job in jobs}
    stints: dict[uuid.UUID, list[Stint]] = defaultdict(list)
    rows = Stint.objects.filter(job__in=list(by_pk), plan__isnull=False).exclude(state=StintState.DROPPED)
    for stint in rows.select_related("crew").order_by("starts", "key"):
        stint.job = by_pk[stint.job_id]
        stints[stint.job_id].append(stint)
    held = [
        job
        for job in jobs
        if any(s.state == StintState.PROPOSED and s.stage == Stage.DRAIN_SETUP for s in stints[job.pk])
    ]
    running = PlanRun.objects.filter(state__in=(RunState.WAITING, RunState.RUNNING)).order_by("asked_at")
    return DecisionFacts(
        contractor=contractor,
        units=firm.units,
        now=now,
        jobs=jobs,
        stints=stints,
        expected=_expected(by_pk),
        clearances=drain_clearances(held, now),
        plans=list(Plan.objects.filter(state__in=(PlanState.PROPOSED, PlanState.ISSUED)).defer("problem", "answer")),
        runs={run.branch: run for run in running},
        crews=list(Crew.objects.filter(active=True).order_by("name")),
        absences=list(Absence.objects.filter(last_day__gte=now.astimezone(contractor.tz).date()).order_by("first_day")),
        shifts=list(Shift.objects.all()),
        surveys=survey_states(jobs),
        fills=_fills([job for job in jobs if job.state == JobState.FILLING], now),
    )


def _fills(jobs: Sequence[Job], now: dt.datetime) -> dict[uuid.UUID, FillSheet]:
    """How the water stands where it runs; nothing is asked where none does."""
    return {sheet.job.pk: sheet for sheet in fill_sheets(jobs, now)} if jobs else {}


def _expected(jobs: Mapping[uuid.UUID, Job]) -> dict[uuid.UUID, dict[str, Any]]:
    """Bands, verdicts, lengths and the hours of the fill, without the rest of the stored rows."""
    names = ("job_id", "band", "verdicts", "weather_issued_at", "rows__fill_hours", "rows__lengths")
    return {row["job_id"]: row for row in ExpectedDates.objects.filter(job__in=list(jobs)).values(*names)}
