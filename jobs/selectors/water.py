"""Water tests and additions of a job, as the timeline of the start-up reads them."""

from __future__ import annotations

import datetime as dt
from typing import Final, cast

from jobs.models import Addition, Job, LogKind, SiteLog, WaterTest
from jobs.physics.additions import Amount, Chemical
from jobs.selectors.start_up_figures import start_up_settings
from jobs.timeline import water_tests
from jobs.timeline.start_up_settings import Method
from jobs.timeline.water_tests import LoggedAddition

LAST_ADVISED_DAY: Final = 60
POOL: Final = "pool"
HOSE: Final = "hose"  # fill water, before it has touched plaster


def believed_before(job: Job, at: dt.datetime) -> WaterTest | None:
    """The last test of the pool's water that was believed, up to this moment."""
    return (
        WaterTest.objects.filter(job=job, at__lte=at, doubted="").exclude(advice__of=HOSE).order_by("at", "id").last()
    )


def doubted_since(job: Job, at: dt.datetime, believed: WaterTest | None) -> WaterTest | None:
    """The last test of the pool's water up to this moment that was not believed, after the last believed one."""
    rows = WaterTest.objects.filter(job=job, at__lte=at).exclude(doubted="").exclude(advice__of=HOSE)
    if believed is not None:
        rows = rows.filter(at__gte=believed.at)
    return rows.order_by("at", "id").last()


def additions_of(job: Job) -> list[LoggedAddition]:
    """All logged additions as the timeline reads them, of the products that the firm buys."""
    settings = start_up_settings()
    return [
        LoggedAddition(
            row.at,
            cast(Chemical, row.substance),
            amount_of(row).value,
            settings.product_purity(row.substance),
            settings.acid_mass_fraction,
        )
        for row in Addition.objects.filter(job=job).order_by("at", "id")
    ]


def test_of(row: WaterTest) -> water_tests.WaterTest:
    """A kept test as the timeline reads it."""
    return water_tests.WaterTest(
        row.at,
        row.temp_c,
        row.ph,
        row.calcium_hardness_mg_l,
        row.total_alkalinity_mg_l,
        row.tds_mg_l,
        row.cyanuric_acid_mg_l,
        row.free_chlorine_mg_l,
    )


def method_of(job: Job) -> Method:
    return cast(Method, job.start_up_method)


def acid_signature(job: Job) -> dict[str, str] | None:
    """Who signed the acid start-up, when, and the written instruction; None where nobody did."""
    found = SiteLog.objects.filter(job=job, kind=LogKind.NOTE, data__has_key="acid").order_by("at", "id").last()
    return None if found is None else dict(found.data["acid"])


def start_up_day(job: Job, at: dt.datetime) -> int:
    """Day of the start-up, 0 the site's date on which the pool was full, and as long as it is not full."""
    if job.filled_on is None:
        return 0
    return min(max(0, (at.astimezone(job.site.tz).date() - job.filled_on).days), LAST_ADVISED_DAY)


def amount_of(row: Addition) -> Amount:
    """An addition's amount, to be said in both unit sets."""
    if row.amount_l is not None:
        return Amount(row.amount_l, "L")
    return Amount(row.amount_kg or 0.0, "kg")
