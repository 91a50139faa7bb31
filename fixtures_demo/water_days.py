"""Water tests of the demonstration: invented readings, taken and answered through the services on each visit."""

from __future__ import annotations

import datetime as dt
import math
from typing import Final

from jobs.models import Job, LogKind, SiteLog, WaterTest
from jobs.physics.additions import Amount, PoolWater
from jobs.selectors.pools import pool_figures
from jobs.selectors.water import HOSE, additions_of, believed_before, start_up_day, test_of
from jobs.selectors.water_level import deepest_m, share_full
from jobs.services.site_logs import log_take
from jobs.services.water import Readings, addition_log, water_test_log
from jobs.timeline.water_tests import expected_water

TAP: Final = PoolWater(15.0, 7.4, 70.0, 55.0, 180.0)
FIRST: Final = PoolWater(16.0, 8.1, 150.0, 90.0, 420.0)  # a day after the fill: lime of the plaster is in it
HIGHEST_PH: Final = 8.3
CHLORINE_FROM_DAY: Final = 4
DUST_UNTIL_DAY: Final = 6


def tap_tested(job: Job, *, by: str, at: dt.datetime) -> WaterTest:
    """The fill water, before the hose runs."""
    return water_test_log(job, _read(TAP, None), of=HOSE, by=by, at=at)[0]


def visited(job: Job, *, by: str, at: dt.datetime) -> WaterTest:
    """One visit: test, brush, and add what the test asks for."""
    day = start_up_day(job, at)
    water, days = _water_now(job, at)
    lifted = min(HIGHEST_PH, water.ph + 0.15 * math.sqrt(days)) if days else water.ph
    now = PoolWater(
        water.temp_c, max(lifted, water.ph), water.calcium_hardness_mg_l + 2 * days, water.total_alkalinity_mg_l,
        water.tds_mg_l + 5 * days, water.cyanuric_acid_mg_l,
    )  # fmt: skip
    test, _ = water_test_log(job, _read(now, 2.0 if day >= CHLORINE_FROM_DAY else None), by=by, at=at)
    dust = "some" if day < DUST_UNTIL_DAY else "cleared"
    log_take(job, kind=LogKind.BRUSHED, by=by, at=at + dt.timedelta(minutes=20), data={"dust": dust})
    if test.advice["action"] == "add":
        amount = Amount(test.advice["amount"], "L" if test.advice["chemical"] == "HCl" else "kg")
        poured = float(f"{amount.value:.2g}")
        addition_log(job, substance=test.advice["chemical"], amount=poured, by=by, at=at + dt.timedelta(minutes=40))
    return test


def _water_now(job: Job, at: dt.datetime) -> tuple[PoolWater, float]:
    """The water as the last test and the additions since leave it, and the days since."""
    last = believed_before(job, at)
    if last is None:
        return FIRST, 0.0
    since = [one for one in additions_of(job) if last.at <= one.at <= at]
    volume = pool_figures(job.pool).volume_m3
    return expected_water(test_of(last).water, since, volume), (at - last.at) / dt.timedelta(days=1)


def _read(water: PoolWater, chlorine: float | None) -> Readings:
    """As a kit tells it: pH to a tenth, hardness and alkalinity to ten."""
    return Readings(
        temp_c=round(water.temp_c),
        ph=round(water.ph, 1),
        calcium_hardness_mg_l=round(water.calcium_hardness_mg_l, -1),
        total_alkalinity_mg_l=round(water.total_alkalinity_mg_l, -1),
        tds_mg_l=round(water.tds_mg_l, -1),
        cyanuric_acid_mg_l=round(water.cyanuric_acid_mg_l),
        free_chlorine_mg_l=chlorine,
    )


def level_read_on_the_way(job: Job, began: dt.datetime, now: dt.datetime, *, by: str) -> SiteLog:
    """The level as a tape finds it half-way to now, the hose giving a little less than the bucket said."""
    at = began + (now - began) / 2
    hours = (at - began) / dt.timedelta(hours=1)
    share = 0.96 * hours * job.site.fill_flow_l_min * 60 / 1000 / pool_figures(job.pool).volume_m3
    low, high = 0.0, deepest_m(job.pool)
    for _ in range(24):
        middle = (low + high) / 2
        low, high = (middle, high) if share_full(job.pool, middle) > share else (low, middle)
    return log_take(job, kind=LogKind.LEVEL, by=by, at=at, data={"below_full_mm": round(1000 * low, -1)})[0]
