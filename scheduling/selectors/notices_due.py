"""What has to be told by now, from what is issued, begun, measured and expected. Reads only; told once by its cause.

Each kind is a function from a look to dues. A look covers what fell due since the last one: after an outage it also
finds what came too late, so that it can be said what was skipped. Proposals are no facts: nothing here reads them.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Final

from django.db.models import Max

from jobs.models import ExpectedDates, Job, JobState, WaterTest
from jobs.selectors.water import HOSE
from scheduling.models import Notice, NoticeKind, ReceiverKind, Stage, Stint, StintState
from scheduling.notice_times import wall_instant
from scheduling.selectors.fill_watch import FillSheet, fill_sheets
from scheduling.selectors.pool_owner import pool_owner_sheet
from shared.models import Contractor, Firm, Membership, Role

Key = tuple[str, uuid.UUID]
FILL_TOLD_MIN: Final = 15 * 60  # [CP] of the local day before the fill starts
TEST_TOLD_MIN: Final = 7 * 60  # [CP]
TEST_OVERDUE_MIN: Final = 18 * 60  # [CP]
DUTIES_TOLD_MIN: Final = 8 * 60  # [CP]
DIGEST_MIN: Final = 6 * 60 + 30
DIGEST_VOID_MIN: Final = 12 * 60  # at noon the morning's digest is of no use any more
BE_THERE_AHEAD: Final = dt.timedelta(hours=3)  # [CP]
EARLIER_BY: Final = dt.timedelta(hours=1)  # a fill that turns out so much faster is told again
DOUBT_AHEAD: Final = dt.timedelta(days=7)
RETEST_LATE: Final = dt.timedelta(hours=2)
MOST_LATE: Final = dt.timedelta(days=3)  # an outage longer than this is not listed day by day
DOUBTED: Final = ("doubtful", "cannot plaster")
VERDICT: Final = ("word", "why", "code", "value", "limit")


@dataclass(frozen=True)
class Due:
    """One thing for some receivers.

    due_at, void_after : from when it may be told, and after when nobody needs it any more
    cause : with kind and subject the natural key, once for each receiver
    """

    kind: str
    subject_id: uuid.UUID
    job: Job | None
    to: tuple[Key, ...]
    cause: str
    due_at: dt.datetime
    void_after: dt.datetime
    facts: Mapping[str, Any] = field(default_factory=dict)


@dataclass
class Look:
    """One look at a firm: what fell due after *since*, until *now*."""

    contractor: Contractor
    since: dt.datetime
    now: dt.datetime

    @cached_property
    def desk(self) -> list[Membership]:
        return list(Membership.objects.filter(active=True, role__in=(Role.OFFICE, Role.MANAGER)).order_by("pk"))

    @cached_property
    def units(self) -> str:
        return Firm.objects.get().units

    @property
    def back_to(self) -> dt.datetime:
        return max(self.since, self.now - MOST_LATE)

    def office(self) -> tuple[Key, ...]:
        return tuple((ReceiverKind.MEMBER.value, member.pk) for member in self.desk)

    def lead_or_office(self, stint: Stint | None) -> tuple[Key, ...]:
        lead = lead_of(stint)
        return lead or self.office()

    def came(self, at: dt.datetime, void: dt.datetime) -> bool:
        """Its time has come, and it was not over before the last look."""
        return at <= self.now and void > self.back_to


def lead_of(stint: Stint | None) -> tuple[Key, ...]:
    if stint is None or stint.crew.lead_id is None:
        return ()
    return ((ReceiverKind.MEMBER.value, stint.crew.lead_id),)


def owner_of(job: Job) -> tuple[Key, ...]:
    return ((ReceiverKind.POOL_OWNER.value, job.pool_owner_id),)


def dues(look: Look) -> list[Due]:
    return [due for kind in KINDS for due in kind(look)]


def _stints(look: Look, *stages: str, **where: Any) -> list[Stint]:
    """Stints that were issued before they began, in the order of their start."""
    rows = Stint.objects.filter(stage__in=stages, plan__isnull=False, **where).exclude(job__state=JobState.CALLED_OFF)
    return list(
        rows.select_related("job__site", "crew", "plan").defer("plan__problem", "plan__answer").order_by("starts")
    )


def fills_tomorrow(look: Look) -> Iterable[Due]:
    """The day before a fill starts; a fill that was issued later than that is told at once."""
    live = (StintState.ISSUED, StintState.BEGUN, StintState.DONE)
    window = {"starts__gt": look.back_to, "starts__lt": look.now + dt.timedelta(days=2)}
    for stint in _stints(look, Stage.FILL_START, state__in=live, **window):
        job, issued_at = stint.job, stint.plan.issued_at if stint.plan else None
        day = stint.starts.astimezone(job.site.tz).date()
        at = wall_instant(day - dt.timedelta(days=1), FILL_TOLD_MIN, job.site.tz)
        if issued_at is not None and issued_at < stint.starts and look.came(at, stint.starts):
            facts = {"starts": stint.starts.isoformat()}
            to = owner_of(job) + lead_of(stint)
            yield Due(NoticeKind.FILL_TOMORROW, job.pk, job, to, day.isoformat(), at, stint.starts, facts)


def _running(look: Look) -> list[FillSheet]:
    jobs = list(Job.objects.filter(state=JobState.FILLING).select_related("site", "pool", "pool_owner"))
    return [sheet for sheet in fill_sheets(jobs, look.now) if sheet.state == "running"] if jobs else []


def fills_now(look: Look) -> Iterable[Due]:
    """The water runs: the pool owner, and whoever has to be there at the end; nearer to it once more."""
    running = _running(look)
    told = _be_there_told([sheet.job for sheet in running])
    for sheet in running:
        job = sheet.job
        if sheet.full is None or sheet.started is None:
            continue
        early, late = sheet.full.p10, sheet.full.p90
        facts = {"started": _iso(sheet.started), "by": _iso(early), "even": _iso(sheet.full.p50), "late": _iso(late)}
        void = max(late, sheet.started + dt.timedelta(hours=6))
        if look.came(sheet.started, void) and sheet.started > look.now - dt.timedelta(days=2):
            to = owner_of(job) + lead_of(sheet.end_stint)
            yield Due(NoticeKind.FILLING, job.pk, job, to, "begun", sheet.started, void, facts)
        at = early - BE_THERE_AHEAD
        last = told.get(job.pk)
        if look.came(at, late) and (last is None or early < last - EARLIER_BY):
            to = look.lead_or_office(sheet.end_stint)
            yield Due(NoticeKind.BE_THERE, job.pk, job, to, f"by {_iso(early)}", at, late, facts)


def _be_there_told(jobs: list[Job]) -> dict[uuid.UUID, dt.datetime]:
    """The earliest time that was told for each of these fills."""
    found: dict[uuid.UUID, dt.datetime] = {}
    for notice in Notice.objects.filter(kind=NoticeKind.BE_THERE, job__in=jobs):
        by = dt.datetime.fromisoformat(notice.facts["by"])
        found[notice.subject_id] = min(by, found.get(notice.subject_id, by))
    return found


def plaster_in_doubt(look: Look) -> Iterable[Due]:
    """Issued plaster days of the coming week on which the weather may not let anybody plaster."""
    window = {"starts__gt": look.now, "starts__lt": look.now + DOUBT_AHEAD}
    stints = _stints(look, Stage.PLASTER, state=StintState.ISSUED, **window)
    rows = ExpectedDates.objects.filter(job__in=[stint.job_id for stint in stints]).values_list("job_id", "verdicts")
    verdicts = dict(rows) if stints else {}
    for stint in stints:
        day = stint.starts.astimezone(stint.job.site.tz).date().isoformat()
        found = next((row for row in verdicts.get(stint.job_id, ()) if row["day"] == day), None)
        if found is not None and found["word"] in DOUBTED:
            facts = {
                "day": day,
                "verdict": {name: found.get(name) for name in ("word", "why", "code", "value", "limit")},
            }
            to = tuple(dict.fromkeys(look.office() + lead_of(stint)))
            cause = f"{day} {found['word']}"
            yield Due(NoticeKind.DOUBT, stint.job_id, stint.job, to, cause, look.now, stint.starts, facts)


def water_tests(look: Look) -> Iterable[Due]:
    """Visits of the first month whose water test is due today, or was not logged by the evening; and tests again."""
    live = (StintState.ISSUED, StintState.BEGUN)
    window = {"starts__gt": look.back_to - dt.timedelta(days=1), "starts__lt": look.now + dt.timedelta(days=1)}
    stints = _stints(look, Stage.START_UP, state__in=live, job__state=JobState.FIRST_MONTH, **window)
    tested = _tests_by_day([stint.job for stint in stints])
    for stint in stints:
        job, tz = stint.job, stint.job.site.tz
        day = stint.starts.astimezone(tz).date()
        if day in tested[job.pk]:
            continue
        facts = {"day": day.isoformat(), "number": stint.key.removeprefix("startup_")}
        end = wall_instant(day, 24 * 60, tz)
        due, late = wall_instant(day, TEST_TOLD_MIN, tz), wall_instant(day, TEST_OVERDUE_MIN, tz)
        cause = f"{stint.key} {day}"
        if look.came(due, end):
            to = look.lead_or_office(stint)
            yield Due(NoticeKind.WATER_TEST, job.pk, job, to, cause, due, late, facts)
        if look.came(late, end + dt.timedelta(hours=12)):
            to = tuple(dict.fromkeys(lead_of(stint) + look.office()))
            void = end + dt.timedelta(hours=12)
            yield Due(NoticeKind.WATER_TEST, job.pk, job, to, f"{cause} late", late, void, {**facts, "late": True})
    yield from _tests_again(look, {stint.job_id: stint for stint in stints})


def _tests_by_day(jobs: Iterable[Job]) -> dict[uuid.UUID, set[dt.date]]:
    zones = {job.pk: job.site.tz for job in jobs}
    found: dict[uuid.UUID, set[dt.date]] = defaultdict(set)
    for job_id, at in WaterTest.objects.filter(job__in=list(zones)).values_list("job_id", "at"):
        found[job_id].add(at.astimezone(zones[job_id]).date())
    return found


def _tests_again(look: Look, stints: Mapping[uuid.UUID, Stint]) -> Iterable[Due]:
    """An addition asks for a test some hours later, and none came."""
    jobs = {job.pk: job for job in Job.objects.filter(state=JobState.FIRST_MONTH).select_related("site")}
    newest = WaterTest.objects.filter(job__in=list(jobs)).values("job").annotate(at=Max("at")).values_list("job", "at")
    latest = dict(newest)
    for test in WaterTest.objects.filter(job__in=list(latest), at__in=list(latest.values())):
        text = test.advice.get("retest_at")
        if latest[test.job_id] != test.at or not text or test.advice.get("of") == HOSE:
            continue
        at = dt.datetime.fromisoformat(text) + RETEST_LATE
        void = at + dt.timedelta(days=1)
        if look.came(at, void):
            job = jobs[test.job_id]
            to = look.lead_or_office(stints.get(job.pk) or _next_visit(job, look.now))
            facts = {"again": text}
            yield Due(NoticeKind.WATER_TEST, job.pk, job, to, f"again {test.pk}", at, void, facts)


def _next_visit(job: Job, now: dt.datetime) -> Stint | None:
    rows = Stint.objects.filter(job=job, stage=Stage.START_UP, plan__isnull=False).exclude(state=StintState.DROPPED)
    return rows.filter(ends__gt=now).select_related("crew").order_by("starts").first()


def duties(look: Look) -> Iterable[Due]:
    """What the pool owner has to do and not to do, on the morning of its day."""
    jobs = list(
        Job.objects.filter(state=JobState.FIRST_MONTH, filled_on__isnull=False).select_related(
            "site", "pool", "pool_owner"
        )
    )
    told = set(
        Notice.objects.filter(kind=NoticeKind.DUTIES, job__in=jobs, made_at__gt=look.now - 2 * MOST_LATE).values_list(
            "subject_id", "cause"
        )
    )
    for job in jobs:
        tz = job.site.tz
        for day in _days(look, tz):
            at, void = wall_instant(day, DUTIES_TOLD_MIN, tz), wall_instant(day, 24 * 60, tz)
            number = (day - job.filled_on).days if job.filled_on else 0
            if number < 1 or (job.pk, day.isoformat()) in told or not look.came(at, void):
                continue
            numbers = {row.day for row in pool_owner_sheet(job, look.now, look.units).dates}
            if number in numbers:
                facts = {"day": day.isoformat(), "number": number}
                yield Due(NoticeKind.DUTIES, job.pk, job, owner_of(job), day.isoformat(), at, void, facts)


def digests(look: Look) -> Iterable[Due]:
    """Half past six of the firm's morning, until noon."""
    for day in _days(look, look.contractor.tz):
        at = wall_instant(day, DIGEST_MIN, look.contractor.tz)
        void = wall_instant(day, DIGEST_VOID_MIN, look.contractor.tz)
        if look.came(at, void):
            facts = {"day": day.isoformat(), "since": look.since.isoformat()}
            yield Due(
                NoticeKind.DIGEST, look.contractor.pk, None, look.office(), day.isoformat(), at, void, facts
            )  # fmt: skip


def _days(look: Look, tz: dt.tzinfo) -> list[dt.date]:
    """Local dates from the last look to today."""
    today, first = look.now.astimezone(tz).date(), look.back_to.astimezone(tz).date()
    return [first + dt.timedelta(days=n) for n in range((today - first).days + 1)]


def _iso(at: dt.datetime) -> str:
    return at.astimezone(dt.UTC).replace(second=0, microsecond=0).isoformat()


KINDS: Final[tuple[Callable[[Look], Iterable[Due]], ...]] = (
    fills_tomorrow,
    fills_now,
    plaster_in_doubt,
    water_tests,
    duties,
    digests,
)
