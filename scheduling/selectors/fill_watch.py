"""A fill as it runs: level readings and hoses in, when the pool is full and who must be there out."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal
from uuid import UUID
from zoneinfo import ZoneInfo

from jobs.models import Job, LogKind, SiteLog
from jobs.selectors.pools import pool_figures
from jobs.selectors.site_logs import logs_standing
from jobs.selectors.stage_job import read_on_the_way
from jobs.timeline.fill import SLOWER, FullAt, LevelReading, flow_lost
from scheduling.models import Stage, Stint, StintState
from scheduling.selectors.fill_stretches import Level, Stretch, stretches

State = Literal["planned", "running", "stopped", "full", "none"]
LIVE: Final = (StintState.ISSUED, StintState.BEGUN, StintState.DONE)
READING_TELLS: Final = 0.25  # [CP] share of the water from which a reading says enough about the rate
QUIET_SHARE: Final = 0.4  # [CP] of the fill that may pass without a word from it
QUIET_LEAST: Final = dt.timedelta(hours=4)  # [CP]


@dataclass(frozen=True)
class FillSheet:
    """All of one fill; instants in the site's zone. *why_not* says in words why nothing is computed.

    full : even chance and nine in ten, None while the water stands or nothing is planned
    somebody_from : from when somebody must be there, one chance in ten that it is full by then
    too_late : the crew of the plan comes after that, by what was read, or nobody is set
    read_first : it may come after that; the plan counts on a level read on the way
    look_now : it may be full already
    read_by : when the share is in by which the plan counts on a reading, None once it was read
    lost : share by which the flow fell since the reading before, 0 or None where it did not
    quiet_since : the last word from the fill, where it is too long ago
    doubted : the last level, where the water would have come so fast that it is read again before it counts
    """

    job: Job
    state: State
    volume_m3: float = 0.0
    started: dt.datetime | None = None
    started_known: bool = False
    hoses: int = 1
    flow_l_min: float = 0.0
    levels: tuple[Level, ...] = ()
    share_now: float | None = None
    full: FullAt | None = None
    full_on: dt.datetime | None = None
    stopped_at: dt.datetime | None = None
    start_stint: Stint | None = None
    end_stint: Stint | None = None
    somebody_from: dt.datetime | None = None
    too_late: bool = False
    read_first: bool = False
    look_now: bool = False
    read_by: dt.datetime | None = None
    lost: float | None = None
    quiet_since: dt.datetime | None = None
    doubted: Level | None = None
    why_not: str = ""

    @property
    def slower(self) -> bool:
        """The water comes so much slower than before that somebody should look at the hose."""
        return self.lost is not None and self.lost >= SLOWER

    @property
    def lost_percent(self) -> int:
        return round(100 * (self.lost or 0.0))

    @property
    def same_day(self) -> bool:
        """Even chance and nine in ten fall on one day."""
        return self.full is not None and self.full.p50.date() == self.full.p90.date()


def fill_sheet(job: Job, now: dt.datetime) -> FillSheet:
    """How the fill of this job stands now."""
    return fill_sheets([job], now)[0]


def fill_sheets(jobs: Sequence[Job], now: dt.datetime) -> list[FillSheet]:
    """How these fills stand now, in two queries."""
    stints: dict[UUID, dict[str, Stint]] = defaultdict(dict)
    rows = Stint.objects.filter(job__in=jobs, stage__in=(Stage.FILL_START, Stage.FILL_END), state__in=LIVE)
    for stint in rows.select_related("crew__lead__person").order_by("starts"):
        stints[stint.job_id][stint.stage] = stint
    logs: dict[UUID, list[SiteLog]] = defaultdict(list)
    for log in logs_standing(jobs, (LogKind.LEVEL, LogKind.HOSE)):
        logs[log.job_id].append(log)
    return [_sheet(job, stints[job.pk], logs[job.pk], now) for job in jobs]


def _sheet(job: Job, stints: Mapping[str, Stint], logs: Sequence[SiteLog], now: dt.datetime) -> FillSheet:
    start, end = stints.get(Stage.FILL_START), stints.get(Stage.FILL_END)
    bare = FillSheet(job, "none", start_stint=start, end_stint=end, hoses=job.site.hoses)
    if start is None and job.filled_on is None:
        return bare
    try:
        return _timed(bare, logs, now)
    except ValueError as refused:
        return replace(bare, state=_state(job, start, logs), why_not=str(refused))


def _state(job: Job, start: Stint | None, logs: Sequence[SiteLog]) -> State:
    if job.filled_on is not None:
        return "full"
    ran = any(log.data.get("action") == "started" for log in logs) or (start is not None and _began(start) is not None)
    if not ran:
        return "planned"
    actions = [log.data.get("action") for log in logs if log.kind == LogKind.HOSE]
    return "stopped" if actions and actions[-1] == "stopped" else "running"


def _began(start: Stint) -> dt.datetime | None:
    """Without an entry of the hose the water runs from the end of setting up."""
    return start.done_at or start.begun_at


def _known_starts(start: Stint | None, logs: Sequence[SiteLog]) -> list[dt.datetime]:
    """When water is known to have run: the first entry of the hose, the end of setting up."""
    found = [log.at for log in logs if log.data.get("action") == "started"][:1]
    stint = None if start is None else _began(start)
    return found if stint is None else [*found, stint]


def _timed(bare: FillSheet, logs: Sequence[SiteLog], now: dt.datetime) -> FillSheet:
    job, start = bare.job, bare.start_stint
    zone = job.site.tz
    volume = pool_figures(job.pool).volume_m3
    began = min(_known_starts(start, logs), default=None)
    begin = began or (None if start is None else start.ends)
    state = _state(job, start, logs)
    found = replace(
        bare, state=state, volume_m3=volume, started=begin and begin.astimezone(zone), started_known=began is not None
    )
    if begin is None:
        return replace(found, full_on=_full_on(logs, job))
    stretch, levels, hoses = stretches(job, begin, [log for log in logs if log.at >= begin], volume)
    found = replace(found, levels=tuple(levels), hoses=hoses, flow_l_min=stretch.flow_l_min)
    if state == "full":
        return replace(found, full_on=_full_on(logs, job), share_now=1.0)
    if stretch.flow_l_min <= 0:
        return replace(found, stopped_at=stretch.begin.astimezone(zone), share_now=stretch.base)
    full = stretch.full_at(volume)
    early = full.p10.astimezone(zone)
    enough = min(READING_TELLS, read_on_the_way(job))
    told = any(level.share >= enough for level in levels if not level.doubted)
    end = bare.end_stint
    return replace(
        found,
        full=FullAt(early, full.p50.astimezone(zone), full.p90.astimezone(zone), full.flow_l_min),
        flow_l_min=full.flow_l_min,
        share_now=stretch.share_at(now, volume) if began else 0.0,
        somebody_from=early,
        too_late=end is None or (end.starts > full.p10 and told),
        read_first=end is not None and end.starts > full.p10 and not told,
        look_now=began is not None and full.p10 <= now,
        read_by=None if told else _read_by(job, begin, full, volume),
        lost=_lost(stretch, volume),
        quiet_since=_quiet_since(begin, logs, now, full, zone) if began and state == "running" else None,
        doubted=levels[-1] if levels and levels[-1].doubted else None,
    )


def _read_by(job: Job, begin: dt.datetime, full: FullAt, volume_m3: float) -> dt.datetime:
    """When the share of the water is in by which the plan counts on a reading."""
    hours = read_on_the_way(job) * volume_m3 * 1000 / full.flow_l_min / 60
    return (begin + dt.timedelta(hours=hours)).astimezone(job.site.tz)


def _lost(stretch: Stretch, volume_m3: float) -> float | None:
    """Share of the flow that was lost between the readings of the last stretch."""
    left = 1 - stretch.base
    shares = [LevelReading(one.at, min(1.0, max(0.0, (one.share - stretch.base) / left))) for one in stretch.readings]
    return flow_lost(stretch.begin, volume_m3 * left, stretch.flow_l_min, shares)


def _quiet_since(
    begin: dt.datetime, logs: Sequence[SiteLog], now: dt.datetime, full: FullAt, zone: ZoneInfo
) -> dt.datetime | None:
    """The last word from the fill, where more of the fill has passed since than may pass unread."""
    last = max((log.at for log in logs if log.at <= now), default=begin)
    whole = max(full.p50 - begin, dt.timedelta(hours=1))
    return last.astimezone(zone) if now - last > max(QUIET_LEAST, QUIET_SHARE * whole) else None


def _full_on(logs: Sequence[SiteLog], job: Job) -> dt.datetime | None:
    at = next((log.at for log in reversed(logs) if log.data.get("full")), None)
    return None if at is None else at.astimezone(job.site.tz)
