"""Mornings on which a crew began a plaster day, or did not because of its weather, and what they teach."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from django.utils.translation import gettext as _

from jobs.models import ForecastKept, Job, LogKind, SiteLog, WeatherCell
from jobs.selectors.weather import cell_key
from jobs.timeline.air_rules import DayHabits
from jobs.timeline.kept_forecasts import observed_of
from jobs.timeline.limits import Limits
from jobs.timeline.rates import Rates
from jobs.timeline.refusals import Morning, RefusalShare, RefusalShares, day_seen, refusal_shares
from jobs.timeline.set_clock import SetClock
from jobs.timeline.weather import HourlyWeather
from scheduling.models import Stage, Stint
from shared.models import Firm

LATEST: Final = 120  # mornings that are looked at, the newest
AFTER: Final = dt.timedelta(days=2)  # of weather from midnight of the day on, to judge it


@dataclass(frozen=True)
class Decided:
    """A morning of a plaster day; *seen*: whether the weather then allowed the day and whether it rained, if known."""

    job: Job
    day: dt.date
    refused: bool
    by: str
    seen: tuple[bool, bool] | None

    @property
    def counts(self) -> bool:
        """A day that the weather closed anyway says nothing about the habit."""
        return self.seen is not None and self.seen[0]

    @property
    def rainy(self) -> bool:
        return self.seen is not None and self.seen[1]


def refusals_learned(firm: Firm, rates: Rates, limits: Limits) -> RefusalShares:
    """Shares of allowed days that the firm refuses, from its own mornings; three queries."""
    decided = mornings_decided(firm, rates, limits)
    return refusal_shares([Morning(each.rainy, each.refused) for each in decided if each.counts])


@dataclass(frozen=True)
class ShareRow:
    """One kind of day as a page shows it, in per cent."""

    words: str
    found: RefusalShare

    @property
    def percent(self) -> int:
        return round(100 * self.found.share)

    @property
    def usual_percent(self) -> int:
        return round(100 * self.found.usual)

    @property
    def range_percent(self) -> tuple[int, int]:
        return round(100 * self.found.low), round(100 * self.found.high)

    @property
    def weight_percent(self) -> int:
        return round(100 * self.found.own_weight)


def refusal_rows(decided: Iterable[Decided]) -> list[ShareRow]:
    """Both kinds of days with their shares."""
    shares = refusal_shares([Morning(each.rainy, each.refused) for each in decided if each.counts])
    return [ShareRow(_("days with some rain"), shares.rainy), ShareRow(_("days without rain"), shares.dry)]


def mornings_decided(firm: Firm, rates: Rates, limits: Limits) -> list[Decided]:
    """The latest mornings, newest first; a day that was refused and then begun was begun."""
    found: dict[tuple[uuid.UUID, dt.date], tuple[Job, bool, str]] = {}
    for log in _refused():
        found[log.job_id, log.at.astimezone(log.job.site.tz).date()] = (log.job, True, log.by)
    for stint in _begun():
        found[stint.job_id, stint.begins.astimezone(stint.job.site.tz).date()] = (stint.job, False, stint.crew.name)
    newest = sorted(found, key=lambda place: (place[1], str(place[0])), reverse=True)[:LATEST]
    jobs = {found[place][0].pk: found[place][0] for place in newest}
    came = _came(firm, jobs.values(), [day for _pk, day in newest])
    decided = []
    for pk, day in newest:
        job, refused, by = found[pk, day]
        decided.append(Decided(job, day, refused, by, _seen(job, day, came.get(pk, ()), rates, limits)))
    return decided


def _refused() -> list[SiteLog]:
    rows = SiteLog.objects.filter(kind=LogKind.DIFFERENT, data__no_start=True).select_related("job__site")
    return list(rows.order_by("-at", "-id")[:LATEST])


def _begun() -> list[Stint]:
    rows = Stint.objects.filter(stage=Stage.PLASTER).exclude(begun_at=None).select_related("job__site", "crew")
    return list(rows.order_by("-begun_at", "-id")[:LATEST])


def _came(firm: Firm, jobs: Iterable[Job], days: list[dt.date]) -> dict[uuid.UUID, list[ForecastKept]]:
    """Hours that came around *days* in the cell of each job, newest start first."""
    keys = {job.pk: cell_key(job.site, firm.source) for job in jobs}
    if not days:
        return {}
    span = (min(days) - dt.timedelta(days=8), max(days) + dt.timedelta(days=1))
    midnights = [dt.datetime.combine(day, dt.time(), dt.UTC) for day in span]
    cells = {
        cell.pk: (cell.source, f"{cell.latitude:.2f}", f"{cell.longitude:.2f}")
        for cell in WeatherCell.objects.filter(source__in={key[0] for key in keys.values()})
    }
    wanted = {pk for pk, key in cells.items() if key in set(keys.values())}
    rows = ForecastKept.objects.filter(cell__in=wanted, starts__range=midnights).exclude(came=None)
    by_key: dict[tuple[str, str, str], list[ForecastKept]] = {}
    for row in rows.defer("said").order_by("-starts"):
        by_key.setdefault(cells[row.cell_id], []).append(row)
    return {pk: by_key.get(key, []) for pk, key in keys.items()}


def _seen(
    job: Job, day: dt.date, came: Iterable[ForecastKept], rates: Rates, limits: Limits
) -> tuple[bool, bool] | None:
    """The day by the weather that came; None where it is not known (yet)."""
    zone = job.site.tz
    morning = dt.datetime.combine(day, dt.time(), zone) + dt.timedelta(hours=DayHabits().start_hours[0])
    midnight = dt.datetime.combine(day, dt.time(), zone)
    for row in came:
        if row.starts <= morning and row.starts + dt.timedelta(hours=row.count) >= midnight + AFTER:
            observed = observed_of(row.starts, bytes(row.came or b""))
            return _judged(observed, day, zone.key, rates, limits)
    return None


def _judged(observed: HourlyWeather, day: dt.date, zone: str, rates: Rates, limits: Limits) -> tuple[bool, bool] | None:
    try:
        return day_seen(observed, day, zone, limits, SetClock(reference_set_h=rates.reference_set_h), DayHabits())
    except ValueError:  # a gap in what came
        return None
