"""How the band of a job has moved: since the date was promised, and as a fan over time."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.utils.dateformat import format as date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from jobs.drawing.band_fan import FanPoint, FanWords, band_fan
from jobs.models import BandPoint, Job
from jobs.people_units import chance
from jobs.timeline.band_reasons import band_moved
from jobs.timeline.fill_band import HORIZON_DAY, FillBand

FAN_POINTS: Final = 60
DAY: Final = dt.timedelta(days=1)
NAMES: Final = ("p10", "p50", "p80", "p90")


@dataclass(frozen=True)
class Moved:
    """Sentences about the band against the one at the promise."""

    since: dt.datetime
    sentences: tuple[str, ...]


def moved_since_promise(job: Job, now_band: Mapping[str, Any]) -> Moved | None:
    """How the band stands against the one that the promise was made from; None without either."""
    if not job.promised_band or job.promised_at is None or job.promised_date is None:
        return None
    before, after = band_of_json(job.promised_band), band_of_json(now_band)
    if before is None or after is None:
        return None
    move = band_moved(before, after, job.promised_date)
    said = [
        _moved_words(_("The even chance"), move.p50_days),
        _moved_words(_("The 9 in 10 date"), move.p90_days),
    ]
    if move.chance_before is not None and move.chance_after is not None:
        said.append(
            _("The chance of the promised date was %(before)s and is %(after)s.")
            % {"before": chance(move.chance_before), "after": chance(move.chance_after)}
        )
    return Moved(job.promised_at, tuple(said))


def _moved_words(what: str, days: int | None) -> str:
    if days is None:
        return _("%(what)s cannot be compared: one of the two lies later than was computed.") % {"what": what}
    if days == 0:
        return _("%(what)s has not moved.") % {"what": what}
    count = abs(days)
    if days > 0:
        later = ngettext("%(what)s is %(count)s day later.", "%(what)s is %(count)s days later.", count)
        return later % {"what": what, "count": count}
    sooner = ngettext("%(what)s is %(count)s day sooner.", "%(what)s is %(count)s days sooner.", count)
    return sooner % {"what": what, "count": count}


def band_of_json(kept: Mapping[str, Any]) -> FillBand | None:
    """A stored band with its dates as days after its earliest one; None where it has no date at all."""
    shares = [(dt.date.fromisoformat(day), float(share)) for day, share in kept.get("chance_by") or () if day]
    if not shares:
        return None
    first = shares[0][0]
    last = (
        dt.date.fromisoformat(kept["horizon"]) if kept.get("horizon") else max(first + HORIZON_DAY * DAY, shares[-1][0])
    )
    horizon = (last - first).days

    def number(name: str) -> int:
        text = kept.get(name)
        return (dt.date.fromisoformat(text) - first).days if text else horizon + 1

    return FillBand(
        p10=number("p10"),
        p50=number("p50"),
        p80=number("p80"),
        p90=number("p90"),
        probability_by_date=tuple(((day - first).days, share) for day, share in shares),
        share_later=float(kept.get("later", 0.0)),
        horizon_day=horizon,
        seed=0,
        source=str(kept.get("source", "")),
        first_date=first,
    )


def fan(job: Job, now: dt.datetime) -> str:
    """The fan of the band since it was first computed, or since shortly before the promise; "" with fewer than two."""
    points = _points(job)
    if len(points) < 2:
        return ""
    begin = points[0].at
    dates = [day for point in points for name in NAMES if (day := getattr(point, name)) is not None]
    if not dates:
        return ""
    zero = min(dates)

    def days(moment: dt.datetime) -> float:
        return (moment - begin) / DAY

    def date(day: dt.date | None) -> float | None:
        return None if day is None else float((day - zero).days)

    until = max(days(now), days(points[-1].at), 0.05)
    zone = job.site.tz
    promised = job.promised_date if job.promised_at is not None else None
    return band_fan(
        [FanPoint(days(p.at), date(p.p10 or p.p50), date(p.p50), date(p.p80), date(p.p90)) for p in points],
        until,
        FanWords(_("1 in 10"), _("even chance"), _("8 in 10"), _("9 in 10"), _("promised")),
        promised=date(promised),
        promised_at=None if job.promised_at is None else max(0.0, days(job.promised_at)),
        date_words=lambda number: date_format(zero + number * DAY, "D j M"),
        time_ticks=_time_ticks(begin.astimezone(zone), until),
        title=_("How the fill band moved"),
        desc=_desc(points),
    )


def _points(job: Job) -> Sequence[BandPoint]:
    """Oldest first: the last before the promise and all since, or all."""
    points = BandPoint.objects.filter(job=job).order_by("-at")
    if job.promised_at is None:
        return list(points[:FAN_POINTS])[::-1]
    since = list(points.filter(at__gte=job.promised_at)[: FAN_POINTS - 1])
    return (since + list(points.filter(at__lt=job.promised_at)[:1]))[::-1]


def _time_ticks(begin: dt.datetime, until: float) -> list[tuple[float, str]]:
    if until < 1.5:
        return [(0.0, date_format(begin, "D H:i")), (until, date_format(begin + until * DAY, "D H:i"))]
    step = max(1, math.ceil(until / 4))
    ticks: list[tuple[float, str]] = []
    day = begin.date()
    while True:
        midnight = dt.datetime.combine(day, dt.time(), begin.tzinfo)
        at = (midnight - begin) / DAY
        if at > until:
            return ticks
        if at >= 0.0:
            ticks.append((at, date_format(day, "D j M")))
        day += step * DAY


def _desc(points: Sequence[BandPoint]) -> str:
    first, last = points[0], points[-1]
    none = _("later than was computed")

    def said(day: dt.date | None) -> str:
        return none if day is None else date_format(day, "l j F")

    return _(
        "From %(count)s computations: the even chance went from %(first)s to %(last)s, the 9 in 10 date from "
        "%(first90)s to %(last90)s."
    ) % {
        "count": len(points),
        "first": said(first.p50),
        "last": said(last.p50),
        "first90": said(first.p90),
        "last90": said(last.p90),
    }
