"""Expected dates of one job, computed with few scenarios, and what may change beside it."""

from __future__ import annotations

import datetime as dt
from itertools import pairwise
from typing import Any

import pytest

from jobs.models import ExpectedDates, Job
from scheduling.models import Crew, Stage, Stint
from scheduling.selectors.outlook import Effort
from scheduling.services.expected_dates import (
    expected_dates_refresh,
    setting_of,
)
from scheduling.slots import DAY_SLOTS
from shared import clock
from shared.models import Firm
from tests.cast import Cast, expect, issue, open_job

NOW = dt.datetime(2026, 5, 12, 14, 5, tzinfo=dt.UTC)  # Tuesday morning in New York
HOUR, DAY = dt.timedelta(hours=1), dt.timedelta(days=1)
QUICK = Effort(band=24, rows=4, days=24)


def refresh(cast: Cast, job: Job, now: dt.datetime = NOW) -> bool:
    with clock.clock_at(now):
        return expected_dates_refresh(Job.objects.get(pk=job.pk), setting_of(cast.own.contractor, QUICK), now)


def found(job: Job) -> ExpectedDates:
    return ExpectedDates.objects.get(job=job)


def change(job: Job, cast: Cast, **fields: Any) -> None:
    Job.objects.filter(pk=job.pk).update(**fields)


def change_site(job: Job, cast: Cast, **fields: Any) -> None:
    for name, value in fields.items():
        setattr(job.site, name, value)
    job.site.save()


def change_firm(job: Job, cast: Cast, **fields: Any) -> None:
    Firm.objects.update(**fields)


def other_stint(job: Job, cast: Cast, crew: Crew, day: int = 2) -> None:
    """An issued stint of another job of this crew."""
    other = open_job(cast.own, label="Site 02")
    starts = NOW + dt.timedelta(days=day)
    plan = Stint.objects.exclude(plan=None).first() or issued_elsewhere(cast)
    Stint.objects.create(
        plan=plan.plan, job=other, crew=crew, stage=Stage.PREP, key="prep", starts=starts, ends=starts + 2 * HOUR
    )


def issued_elsewhere(cast: Cast) -> Stint:
    """Some issued stint far ahead, for its plan."""
    with clock.clock_at(NOW + dt.timedelta(days=300)):
        third = open_job(cast.own, label="Site 03")
        expect(third, cast.own)
        issue(cast.own)
    return Stint.objects.filter(job=third)[0]


def check_band(kept: ExpectedDates) -> None:
    band = kept.band
    dates = [band[name] for name in ("p10", "p50", "p80", "p90") if band[name] is not None]
    assert dates == sorted(dates)
    known = [band[name] is not None for name in ("p10", "p50", "p80", "p90")]
    assert known == sorted(known, reverse=True)  # once beyond the horizon, always beyond it
    chances = [share for _, share in band["chance_by"]]
    days = [day for day, _ in band["chance_by"]]
    assert all(a < b for a, b in pairwise(days))
    assert all(a < b for a, b in pairwise(chances))
    assert all(0 < share <= 1 for share in chances)
    assert (chances[-1] if chances else 0.0) + band["later"] == pytest.approx(1.0, abs=1e-3)
    for name, share in (("p10", 0.1), ("p50", 0.5), ("p80", 0.8), ("p90", 0.9)):
        by_then = [reached for day, reached in band["chance_by"] if band[name] and day <= band[name]]
        before = [reached for day, reached in band["chance_by"] if not band[name] or day < band[name]]
        assert not by_then or by_then[-1] >= share - 1e-4
        assert all(reached < share for reached in before)
    assert all(day >= kept.first_day.isoformat() for day in days)
    for stage, cause, mean in band["lost_days"]:
        assert stage in ("prep", "bond", "plaster", "fill")
        assert cause == cause.lower()
        assert mean > 0


def check_rows(kept: ExpectedDates) -> None:
    """Starts lie in their day, in order; a share says how many scenarios allow the day."""
    rows = kept.rows
    for name in ("bond_days", "plaster_days", "fill_days"):
        spans = [(first, last) for _, first, last, *_ in rows[name]]
        assert all(a[1] < b[0] for a, b in pairwise(spans)), name
        for day, first, last, *lengths in rows[name]:
            assert day * DAY_SLOTS <= first <= last < (day + 1) * DAY_SLOTS, name
            assert all(length > 0 for length in lengths), name
    assert {int(day) for day in rows["shares"]} == {row[0] for row in rows["plaster_days"]}
    assert all(0.4 <= share <= 1 for share in rows["shares"].values())
    for day in rows["closed"]:  # closed, or offered though some scenarios refuse it
        assert day["why"]
        assert day["share"] == rows["shares"].get(str(day["day"]), day["share"]) < 1
    assert len(kept.verdicts) == 14
    assert all(length >= 1 for length in rows["lengths"].values())
    water = rows["fill_hours"]
    assert water["early"] < water["even"] < water["late"]
