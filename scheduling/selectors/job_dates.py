"""The expected dates of one job as its page shows them: band, chance of each day, how it moved, what holds it back."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import Any, Final

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from jobs.drawing.chance_chart import ChanceDay, Mark, chance_chart
from jobs.forms.sentences import in_units
from jobs.models import BandPoint, ExpectedDates, Job
from jobs.people_units import chance, said_range
from jobs.reason_words import verdict_word, why_words
from scheduling.selectors.band_moves import Moved, fan, moved_since_promise
from scheduling.selectors.jobs_list import day_words
from scheduling.words import clock_words
from shared import clock

BAND_WORDS: Final = (("p50", _l("even chance by")), ("p80", _l("8 in 10 by")), ("p90", _l("9 in 10 by")))
STAGE_WORDS: Final = {
    "prep": _l("chip and prep"),
    "bond": _l("bond coat"),
    "plaster": _l("apply and trowel"),
    "fill": _l("fill"),
}
CAUSE_WORDS: Final = {
    "crew": _l("no crew is free"),
    "rain": _l("rain"),
    "cold": _l("cold"),
    "hot": _l("heat"),
    "wind": _l("wind"),
    "drying": _l("drying too fast"),
    "dark": _l("not finished before dark"),
    "dew": _l("the surface is too near the dew point"),
    "cure": _l("the bond coat has not cured"),
    "recoat": _l("the bond coat would be too old"),
    "refused": _l("rain chance on the morning itself"),
    "shell": _l("the shell is too cold or too hot"),
    "fill_crew": _l("nobody is there for the fill"),
    "hose_frost": _l("hoses would freeze"),
    "work": _l("the work itself takes more than a day"),
}
POINTS_SHOWN: Final = 12


@dataclass(frozen=True)
class BandDate:
    """One date of the band in words; `day` is None when it lies beyond what is computed."""

    words: str
    day: dt.date | None


@dataclass(frozen=True)
class ChanceRow:
    """The chance that the pool is full on this day, and on or before it."""

    day: dt.date
    on: float
    by: float


@dataclass(frozen=True)
class Lost:
    """Days that a cause takes from a stage, on average over the scenarios."""

    words: str
    days: float


@dataclass(frozen=True)
class Closed:
    """A day on which too few scenarios allow plaster (`offered` False) or not all of them, with the reasons."""

    day: dt.date
    share: float
    offered: bool
    why: tuple[str, ...]


@dataclass(frozen=True)
class Risk:
    """What makes the date uncertain: days it adds to the late half of the scenarios, and its part of all such days."""

    words: str
    days: float
    share: float


@dataclass(frozen=True)
class StripDay:
    """One day of the weather strip in the reader's units."""

    day: dt.date
    letter: str
    word: str
    why: str
    range: str
    rain: str
    share: float


@dataclass(frozen=True)
class JobDates:
    """Everything about the fill day of a job; empty parts where nothing is known yet."""

    expected: ExpectedDates
    band: tuple[BandDate, ...]
    chances: tuple[ChanceRow, ...]
    later: float
    promise_holds: float | None
    chart: str
    lost: tuple[Lost, ...]
    closed: tuple[Closed, ...]
    risks: tuple[Risk, ...] = ()
    strip: tuple[StripDay, ...] = ()
    moved: Moved | None = None
    fan: str = ""
    rests_on: str = ""


def job_dates(job: Job, units: str) -> JobDates | None:
    """The expected dates as they stand, reasons in these units; None where none were computed."""
    expected = ExpectedDates.objects.filter(job=job).first()
    if expected is None or not expected.band:
        return None
    found = expected.band
    chances = _chances(found)
    band = tuple(BandDate(str(words), _date(found.get(name))) for name, words in BAND_WORDS)
    return JobDates(
        expected=expected,
        band=band,
        chances=chances,
        later=float(found.get("later", 0.0)),
        promise_holds=_share_by(chances, job.promised_date) if job.promised_date else None,
        chart=_chart(job, chances, band) if chances else "",
        lost=tuple(_lost(*row) for row in found.get("lost_days", []) if row[1] in CAUSE_WORDS),
        closed=_closed(expected, units),
        risks=tuple(_risk(*row) for row in found.get("risk", []) if row[1] in CAUSE_WORDS),
        strip=tuple(_strip_day(row, units) for row in expected.verdicts if not math.isnan(row.get("low_c") or 0.0)),
        moved=moved_since_promise(job, found),
        fan=fan(job, clock.now()),
        rests_on=rests_on(expected, job.site.tz, units),
    )


def rests_on(expected: ExpectedDates, zone: dt.tzinfo, units: str) -> str:
    """What the dates rest on: the ensemble or forecast with its age when they were computed, or the year alone."""
    known = (expected.band or {}).get("weather") or {}
    station = known.get("station", "").replace("_", " ")
    if known.get("kind") == "typical year":
        return _("Computed from the typical year of %(station)s alone: there is no forecast.") % {"station": station}
    issued = expected.weather_issued_at
    local = issued.astimezone(zone)
    parts = {
        "at": f"{day_words(local.date())} {clock_words(local, units)}",
        "age": f"{max(0.0, (expected.computed_at - issued) / dt.timedelta(hours=1)):.0f}",
        "station": station or _("the nearest station"),
        "members": known.get("members", 0),
    }
    if known.get("kind") == "ensemble":
        said = _(
            "Computed from the %(members)s members of the ensemble of %(at)s, %(age)s h old then, and the typical year "
            "of %(station)s beyond."
        )
    else:
        said = _(
            "Computed from the forecast of %(at)s, %(age)s h old then, and the typical year of %(station)s beyond."
        )
    text = said % parts
    if known.get("learned_from"):
        text += " " + _("Its errors were learned from %(count)s forecasts.") % {"count": known["learned_from"]}
    return text


def _risk(stage: str, cause: str, days: float, share: float) -> Risk:
    parts = {"stage": STAGE_WORDS.get(stage, stage), "cause": CAUSE_WORDS.get(cause, cause)}
    return Risk(_("%(stage)s: %(cause)s") % parts, float(days), float(share))


VERDICT_LETTER: Final = {"can plaster": "can", "doubtful": "doubt", "cannot plaster": "cannot"}


def _strip_day(row: dict[str, Any], units: str) -> StripDay:
    return StripDay(
        day=dt.date.fromisoformat(row["day"]),
        letter=VERDICT_LETTER.get(row["word"], ""),
        word=verdict_word(row["word"]),
        why=why_words(row, units),
        range=said_range("temperature", row["low_c"], row["high_c"], units),
        rain=chance(row["rain"]),
        share=float(row["share"]),
    )


def band_points(job: Job) -> list[BandPoint]:
    """How the band moved since the date was promised, or at all; newest first, the one before the promise too."""
    points = BandPoint.objects.filter(job=job).order_by("-at")
    if job.promised_at is None:
        return list(points[:POINTS_SHOWN])
    since = list(points.filter(at__gte=job.promised_at)[: POINTS_SHOWN - 1])
    return since + list(points.filter(at__lt=job.promised_at)[:1])


def promised_band(job: Job) -> tuple[BandDate, ...]:
    """The band as it stood when the date was promised."""
    kept = job.promised_band or {}
    return tuple(BandDate(str(words), _date(kept.get(name))) for name, words in BAND_WORDS) if kept else ()


def _chances(band: dict[str, Any]) -> tuple[ChanceRow, ...]:
    rows, before = [], 0.0
    for text, share in band.get("chance_by", []):
        rows.append(ChanceRow(dt.date.fromisoformat(text), max(0.0, share - before), share))
        before = share
    return tuple(rows)


def _share_by(chances: tuple[ChanceRow, ...], day: dt.date) -> float:
    return max((row.by for row in chances if row.day <= day), default=0.0)


def _chart(job: Job, chances: tuple[ChanceRow, ...], band: tuple[BandDate, ...]) -> str:
    first = min([row.day for row in chances] + ([job.promised_date] if job.promised_date else []))
    days = [ChanceDay((row.day - first).days, row.on) for row in chances]
    marks = _band_marks(band, first)
    if job.promised_date:
        promised = _("promised %(day)s") % {"day": day_words(job.promised_date)}
        marks.append(Mark((job.promised_date - first).days, promised, "told"))
    last = max([each.day for each in days] + [mark.day for mark in marks])
    ticks = [(day, day_words(first + dt.timedelta(days=day))) for day in range(0, last + 1, max(7, last // 6))]
    likeliest = max(chances, key=lambda row: row.on)
    desc = _("Chance of each day on which the pool may be full; the likeliest is %(day)s with %(share).0f %%.") % {
        "day": day_words(likeliest.day),
        "share": 100 * likeliest.on,
    }
    return chance_chart(days, marks, ticks, title=_("Chance of each fill day"), desc=desc)


def _band_marks(band: tuple[BandDate, ...], first: dt.date) -> list[Mark]:
    """One rule a date; dates that fall together share it: "8 in 10 by, 9 in 10 by Thu 17 Dec"."""
    by_day: dict[dt.date, list[str]] = {}
    for one in band:
        if one.day is not None:
            by_day.setdefault(one.day, []).append(one.words)
    return [Mark((day - first).days, f"{', '.join(words)} {day_words(day)}") for day, words in by_day.items()]


def _lost(stage: str, cause: str, days: float) -> Lost:
    parts = {"stage": STAGE_WORDS.get(stage, stage), "cause": CAUSE_WORDS.get(cause, cause)}
    return Lost(_("%(stage)s: %(cause)s") % parts, float(days))


DOUBTFUL_DAYS: Final = 14


def _closed(expected: ExpectedDates, units: str) -> tuple[Closed, ...]:
    """Closed days as far as is computed, doubtful ones of the next two weeks."""
    offered = {int(row[0]) for row in expected.rows.get("plaster_days", [])}
    found = []
    for row in expected.rows.get("closed", []):
        number = int(row["day"])
        if number in offered and number >= DOUBTFUL_DAYS:
            continue
        stored = row.get("reasons") or [{"why": in_units(str(words), units)} for words in row.get("why", ())]
        why = tuple(why_words(reason, units) for reason in stored)
        day = expected.first_day + dt.timedelta(days=number)
        found.append(Closed(day, float(row.get("share", 0.0)), number in offered, why))
    return tuple(found)


def _date(text: str | None) -> dt.date | None:
    return dt.date.fromisoformat(text) if text else None
