"""What the weeks show: stints, cure and waits, fill bands and promised dates, and the weather of each branch.

A fixed number of queries, whatever the number of jobs.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from django.db.models import Q

from jobs.models import BEFORE_FILL, ExpectedDates, Job, JobState
from scheduling.models import Absence, Crew, Stage, Stint, StintState
from scheduling.slots import DAY_SLOTS, SLOT_MIN

SHOWN: Final = (StintState.PROPOSED, StintState.ISSUED, StintState.BEGUN, StintState.DONE)
FIRST_MONTH_DAYS: Final = 28
ONE_DAY: Final = dt.timedelta(days=1)
# Between the end of one stage and the start of the next: cure or a plain wait.
FOLLOWS: Final = (
    (Stage.DRAIN_PULL, Stage.PREP),
    (Stage.PREP, Stage.BOND),
    (Stage.BOND, Stage.BOND_AGAIN),
    (Stage.BOND, Stage.PLASTER),
    (Stage.BOND_AGAIN, Stage.PLASTER),
    (Stage.PLASTER, Stage.FILL_START),
)
BAND: Final = ("p10", "p50", "p80", "p90")
CURES: Final = (Stage.BOND, Stage.BOND_AGAIN, Stage.PLASTER)


@dataclass(frozen=True)
class Window:
    """The days that are shown."""

    first: dt.date
    days: int

    @property
    def last(self) -> dt.date:
        return self.first + dt.timedelta(days=self.days - 1)

    def touches(self, first: dt.date, last: dt.date) -> bool:
        return first <= self.last and last >= self.first

    def instants(self) -> tuple[dt.datetime, dt.datetime]:
        """Instants that surely hold the window in every zone."""
        begin = dt.datetime.combine(self.first, dt.time(), tzinfo=dt.UTC)
        return begin - ONE_DAY, begin + dt.timedelta(days=self.days + 1)


@dataclass(frozen=True)
class Asked:
    """What the office wants to see of it; empty means everything."""

    branch: str = ""
    crew: uuid.UUID | None = None
    words: str = ""


@dataclass(frozen=True)
class Gap:
    """Between two stages: cured until `cured`, then waiting; all in the site's wall clock."""

    after: str
    begins: dt.datetime
    cured: dt.datetime
    ends: dt.datetime

    @property
    def wait_days(self) -> int:
        """Whole days of plain waiting, nights and the rest of started days not counted."""
        return max(0, (self.ends.date() - self.cured.date()).days - 1)


@dataclass(frozen=True)
class Band:
    """The fill band in dates; None beyond the horizon."""

    p10: dt.date | None
    p50: dt.date | None
    p80: dt.date | None
    p90: dt.date | None

    @property
    def first(self) -> dt.date | None:
        return self.p10 or self.p50


@dataclass(frozen=True)
class JobRow:
    """One job in the window."""

    job: Job
    stints: tuple[Stint, ...]
    gaps: tuple[Gap, ...] = ()
    band: Band | None = None
    full_on: dt.date | None = None

    @property
    def promised(self) -> dt.date | None:
        return self.job.promised_date


@dataclass(frozen=True)
class CrewRow:
    """One crew in the window: stints in order, days off."""

    crew: Crew
    stints: tuple[Stint, ...]
    absences: tuple[Absence, ...] = ()


@dataclass(frozen=True)
class BranchWeather:
    """The weather strip of a branch: the verdicts of one of its jobs; *typical* where no forecast is left."""

    branch: str
    verdicts: Mapping[dt.date, Mapping[str, Any]] = field(default_factory=dict)
    issued_at: dt.datetime | None = None
    as_at: str = ""
    typical: bool = False


def branches() -> list[str]:
    """Names of all branches with open jobs or crews."""
    of_crews = Crew.objects.filter(active=True).values_list("branch", flat=True)
    of_jobs = Job.objects.exclude(state=JobState.CALLED_OFF).values_list("site__branch", flat=True)
    return sorted({*of_crews, *of_jobs})


def job_rows(window: Window, asked: Asked) -> list[JobRow]:
    """Jobs with something in the window, by branch and then by their next stint."""
    jobs = _jobs(asked, window)
    found = _stints(jobs, window)
    expected = _expected(jobs, found)
    rows = []
    for job in jobs:
        stints = found[job.pk]
        kept = expected.get(job.pk)
        band = _band(kept) if kept and job.fill_ahead else None
        gaps = _gaps(stints, job, kept)
        end = next((s for s in stints if s.key == Stage.FILL_END), None)
        full_on = job.filled_on or (end.starts.astimezone(job.site.tz).date() if end else None)
        row = JobRow(job, tuple(stints), tuple(gaps), band, full_on)
        if _in_window(row, window):
            rows.append(row)
    return sorted(rows, key=lambda row: (row.job.site.branch, _next(row), row.job.number))


def _jobs(asked: Asked, window: Window) -> list[Job]:
    over = window.first - FIRST_MONTH_DAYS * ONE_DAY
    rows = Job.objects.exclude(state=JobState.CALLED_OFF).select_related("site", "pool_owner")
    rows = rows.exclude(state=JobState.FINISHED, filled_on__lt=over)
    if asked.branch:
        rows = rows.filter(site__branch=asked.branch)
    if asked.words:
        wanted = Q(site__label__icontains=asked.words) | Q(pool_owner__name__icontains=asked.words)
        if asked.words.isdecimal() and len(asked.words) < 10:
            wanted |= Q(number=int(asked.words))
        rows = rows.filter(wanted)
    if asked.crew is not None:
        rows = rows.filter(pk__in=Stint.objects.filter(crew_id=asked.crew, state__in=SHOWN).values("job"))
    return list(rows.order_by("number"))


def _stints(jobs: Sequence[Job], window: Window) -> dict[Any, list[Stint]]:
    """All stints of jobs that have one in or near the window: a gap may begin before it and end after it."""
    begin, end = window.instants()
    reach = dt.timedelta(days=FIRST_MONTH_DAYS + 2)
    rows = Stint.objects.filter(
        job__in=[job.pk for job in jobs], state__in=SHOWN, ends__gte=begin - reach, starts__lte=end + reach
    ).select_related("crew")
    of_job: dict[Any, list[Stint]] = defaultdict(list)
    by_pk = {job.pk: job for job in jobs}
    for stint in rows.order_by("starts", "key"):
        stint.job = by_pk[stint.job_id]
        of_job[stint.job_id].append(stint)
    return of_job


def _expected(jobs: Sequence[Job], stints: Mapping[Any, Sequence[Stint]]) -> dict[Any, dict[str, Any]]:
    """The dates of the bands, and of jobs with a coat to come the rows that say how long it cures."""
    dated = [job.pk for job in jobs if job.fill_ahead]
    coats = {pk for pk, listed in stints.items() for s in listed if s.key in CURES and s.state != StintState.DONE}
    rows = ExpectedDates.objects.filter(job__in=dated)
    names = ("job_id", "first_day", *(f"band__{name}" for name in BAND))
    found = {row["job_id"]: row for row in rows.values(*names)}
    for row in rows.filter(job__in=coats).values("job_id", "rows__bond_days", "rows__plaster_days"):
        found[row["job_id"]] |= row
    return found


def _band(stored: Mapping[str, Any]) -> Band | None:
    dates = {name: _date(stored[f"band__{name}"]) for name in BAND}
    return Band(**dates) if dates["p50"] or dates["p10"] else None


def _date(text: str | None) -> dt.date | None:
    return dt.date.fromisoformat(text) if text else None


def _gaps(stints: Sequence[Stint], job: Job, kept: Mapping[str, Any] | None) -> Iterable[Gap]:
    by_key = {stint.key: stint for stint in stints}
    for before, after in FOLLOWS:
        first, second = by_key.get(before), by_key.get(after)
        if first is None or second is None or (after == Stage.PLASTER and before == Stage.BOND and _again(by_key)):
            continue
        begins, ends = (first.ends.astimezone(job.site.tz), second.starts.astimezone(job.site.tz))
        if ends <= begins:
            continue
        cured = begins + dt.timedelta(minutes=SLOT_MIN * _cure_slots(first, job, kept)) if before in CURES else begins
        yield Gap(before, begins, min(cured, ends), ends)


def _again(by_key: Mapping[str, Stint]) -> bool:
    return Stage.BOND_AGAIN in by_key


def _cure_slots(stint: Stint, job: Job, kept: Mapping[str, Any] | None) -> int:
    """Least wait after this stint by the row of its day; a day that is over has none, so it cures until the next."""
    forever = 10_000
    if kept is None:
        return forever
    name, at = ("rows__plaster_days", 4) if stint.stage == Stage.PLASTER else ("rows__bond_days", 3)
    day = (stint.starts.astimezone(job.site.tz).date() - kept["first_day"]).days
    return next((row[at] for row in kept.get(name) or () if row[1] // DAY_SLOTS == day), forever)


def _in_window(row: JobRow, window: Window) -> bool:
    zone = row.job.site.tz
    if any(window.touches(s.starts.astimezone(zone).date(), s.ends.astimezone(zone).date()) for s in row.stints):
        return True
    if any(window.touches(gap.begins.date(), gap.ends.date()) for gap in row.gaps):
        return True
    if row.full_on and window.touches(row.full_on, row.full_on + FIRST_MONTH_DAYS * ONE_DAY):
        return True
    band = row.band
    if band is not None and band.first is not None and window.touches(band.first, band.p90 or window.last):
        return True
    return row.job.fill_ahead and row.promised is not None and window.touches(row.promised, row.promised)


def _next(row: JobRow) -> dt.datetime:
    waiting = [stint.starts for stint in row.stints if stint.state != StintState.DONE]
    return min(waiting, default=dt.datetime.max.replace(tzinfo=dt.UTC))


def crew_rows(window: Window, asked: Asked) -> list[CrewRow]:
    """Crews with their stints in the window, by branch and name."""
    crews = Crew.objects.filter(active=True)
    if asked.branch:
        crews = crews.filter(branch=asked.branch)
    if asked.crew is not None:
        crews = crews.filter(pk=asked.crew)
    begin, end = window.instants()
    rows = Stint.objects.filter(state__in=SHOWN, ends__gte=begin, starts__lte=end).select_related("job__site")
    if asked.words:
        rows = rows.filter(job__in=[job.pk for job in _jobs(Asked(words=asked.words), window)])
    of_crew: dict[Any, list[Stint]] = defaultdict(list)
    for stint in rows.order_by("starts"):
        of_crew[stint.crew_id].append(stint)
    listed = crews.prefetch_related("absences").select_related("lead__person").order_by("branch", "name")
    return [
        CrewRow(
            crew,
            tuple(of_crew[crew.pk]),
            tuple(off for off in crew.absences.all() if window.touches(off.first_day, off.last_day)),
        )
        for crew in listed
    ]


def branch_weather(names: Sequence[str]) -> dict[str, BranchWeather]:
    """Per branch the verdicts of the job whose dates were computed last, with the weather's age."""
    rows = (
        ExpectedDates.objects.filter(job__site__branch__in=names, job__state__in=BEFORE_FILL)
        .order_by("job__site__branch", "-weather_issued_at", "job__number")
        .distinct("job__site__branch")
        .values("job__site__branch", "job__site__label", "weather_issued_at", "verdicts", "band__weather__kind")
    )
    found = {
        row["job__site__branch"]: BranchWeather(
            row["job__site__branch"],
            {dt.date.fromisoformat(one["day"]): one for one in row["verdicts"]},
            row["weather_issued_at"],
            row["job__site__label"],
            row["band__weather__kind"] == "typical year",
        )
        for row in rows
    }
    return {name: found.get(name, BranchWeather(name)) for name in names}
