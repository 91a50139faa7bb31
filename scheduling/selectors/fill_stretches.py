"""The stretches of even flow of one fill, and which levels count."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from uuid import UUID, uuid4

from jobs.models import Job, LogKind, SiteLog
from jobs.selectors.water_level import share_full
from jobs.timeline.fill import (
    FLOW_ASSUMED_SPREAD,
    FLOW_MEASURED_SPREAD,
    FullAt,
    LevelReading,
    found_again,
    full_at_from_readings,
    must_be_read_again,
)


@dataclass(frozen=True)
class Level:
    """One reading in the site's zone; *doubted*, it does not count until it is found again."""

    at: dt.datetime
    below_mm: float
    share: float
    by: str
    client_id: UUID
    doubted: bool = False
    again: UUID = field(default_factory=uuid4)  # of the entry that would take it back


@dataclass(frozen=True)
class Stretch:
    """Water running (or standing, flow 0) since *begin*, when the pool held *base* of its water."""

    begin: dt.datetime
    base: float
    flow_l_min: float
    spread: float
    readings: tuple[LevelReading, ...] = ()

    def full_at(self, volume_m3: float) -> FullAt:
        left = 1 - self.base
        shares = [LevelReading(one.at, min(1.0, max(0.0, (one.share - self.base) / left))) for one in self.readings]
        return full_at_from_readings(self.begin, volume_m3 * left, self.flow_l_min, shares, flow_spread=self.spread)

    def share_at(self, at: dt.datetime, volume_m3: float) -> float:
        last, share = self.begin, self.base
        if self.readings:
            last, share = self.readings[-1]
        if self.flow_l_min <= 0 or share >= 1:
            return share
        return min(1.0, share + self.rate_h(volume_m3) * max(0.0, (at - last) / dt.timedelta(hours=1)))

    def rate_h(self, volume_m3: float) -> float:
        """Share of the pool per hour, by all that was read."""
        return self.full_at(volume_m3).flow_l_min * 60 / 1000 / volume_m3

    def read(self, readings: Sequence[LevelReading], volume_m3: float) -> tuple[Stretch, LevelReading | None]:
        """This stretch with the last of these readings, and that one where it must be found again first.

        *readings* are a doubted one, if there is one, and the one after it.
        """
        *doubted, new = readings
        if doubted and found_again(doubted[0], new):
            return replace(self, readings=(*self.readings, *readings)), None
        since = self.readings[-1] if self.readings else LevelReading(self.begin, self.base)
        if self.flow_l_min > 0 and must_be_read_again(since, new, self.rate_h(volume_m3)):
            return self, new
        return replace(self, readings=(*self.readings, new)), None


def stretches(
    job: Job, begin: dt.datetime, logs: Sequence[SiteLog], volume_m3: float
) -> tuple[Stretch, list[Level], int]:
    """The last stretch of even flow, every level, and how many hoses run."""
    site = job.site
    spread = FLOW_MEASURED_SPREAD if site.hose_flow_measured else FLOW_ASSUMED_SPREAD
    hoses = site.hoses
    stretch = Stretch(begin, 0.0, site.hose_flow_l_min * hoses, spread)
    levels: list[Level] = []
    doubted: LevelReading | None = None
    for log in logs:
        if log.kind == LogKind.LEVEL:
            if log.at == begin:
                continue  # no water has run yet
            below = float(log.data["below_full_mm"])
            reading = LevelReading(log.at, share_full(job.pool, below / 1000))
            before = doubted
            stretch, doubted = stretch.read([*([before] if before else []), reading], volume_m3)
            if before in stretch.readings:
                levels[-1] = replace(levels[-1], doubted=False)
            levels.append(
                Level(log.at.astimezone(site.tz), below, reading.share, log.by, log.client_id, doubted is not None)
            )
            continue
        now_running = 0 if log.data.get("action") == "stopped" else int(log.data.get("hoses") or hoses)
        flow = site.hose_flow_l_min * now_running
        if flow != stretch.flow_l_min:
            share = min(stretch.share_at(log.at, volume_m3), 0.999)
            as_measured = spread if now_running == site.hoses else FLOW_ASSUMED_SPREAD
            stretch = Stretch(log.at, share, flow, as_measured)
        hoses = now_running or hoses
    return stretch, levels, hoses
