"""What the pool owner may know of their own pool: what happens when, and what to do and not to do, by date."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

from django.utils import translation
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from jobs.models import ExpectedDates, Job, JobState
from jobs.selectors.start_up_figures import start_up_settings
from jobs.timeline.start_up_gates import Thing, first_days
from jobs.timeline.start_up_settings import LAST_DAY, StartUpSettings
from scheduling.models import Stage, Stint, StintState
from scheduling.selectors.fill_watch import FillSheet, fill_sheet
from scheduling.words import clock_words, day_words, listed, times_words

LIVE: Final = (StintState.ISSUED, StintState.BEGUN, StintState.DONE)
NINE: Final = 0.9
WAIT_WORDS: Final[dict[Thing, str]] = {
    "chlorine": gettext_noop("chlorine in any form"),
    "heater": gettext_noop("the heater"),
    "wheeled_cleaner": gettext_noop("a cleaner on wheels"),
    "swimming": gettext_noop("swimming"),
    "salt": gettext_noop("salt, and the salt cell"),
}


@dataclass(frozen=True)
class FillDay:
    """The fill day in words' parts: the likeliest date, and the one by which nine chances in ten lie."""

    likely: dt.date | None
    nine_in_ten: dt.date | None
    promised: dt.date | None


@dataclass(frozen=True)
class Step:
    """One thing that happens at the pool, on one day or several."""

    stage: str
    first: dt.date
    last: dt.date
    done: bool


@dataclass(frozen=True)
class DoNot:
    """Dates of the first month; *day* counts from the fill day."""

    date: dt.date
    day: int
    text: str


@dataclass(frozen=True)
class PoolOwnerSheet:
    """All that the page says; *fills_at* and *plasters_on* from the plan in force."""

    job: Job
    state: str
    fill: FillDay
    steps: tuple[Step, ...]
    fills_at: dt.datetime | None
    running: FillSheet | None
    day_zero: dt.date | None
    certain: bool
    by_plan: bool
    dates: tuple[DoNot, ...]
    today: dt.date

    @property
    def over(self) -> bool:
        return self.state in (JobState.FINISHED, JobState.CALLED_OFF)

    @property
    def may_answer(self) -> bool:
        """The two sentences are asked until the pool is full."""
        return not self.over and self.state != JobState.FIRST_MONTH


def pool_owner_sheet(job: Job, now: dt.datetime, units: str) -> PoolOwnerSheet:
    """What this pool owner reads today; nothing of other jobs, of crews or of prices."""
    zone = job.site.tz
    stints = list(Stint.objects.filter(job=job, state__in=LIVE).order_by("starts"))
    expected = ExpectedDates.objects.filter(job=job).first()
    fill = _fill_day(job, (expected.band if expected and job.fill_ahead else None) or {}, stints)
    start = next((stint for stint in stints if stint.stage == Stage.FILL_START), None)
    running = fill_sheet(job, now) if job.state == JobState.FILLING else None
    planned = _planned(job, stints)
    day_zero = (
        job.filled_on or (running.full.p50.date() if running and running.full else None) or planned or fill.likely
    )
    return PoolOwnerSheet(
        job=job,
        state=job.state,
        fill=fill,
        steps=tuple(_steps(job, stints)),
        fills_at=None if start is None else start.begins.astimezone(zone),
        running=running,
        day_zero=day_zero,
        certain=job.filled_on is not None,
        by_plan=planned is not None and day_zero == planned,
        dates=tuple(_dates(job, day_zero)) if day_zero is not None else (),
        today=now.astimezone(zone).date(),
    )


def _planned(job: Job, stints: list[Stint]) -> dt.date | None:
    """The fill day of the plan, which is that of the calendar."""
    end = next((stint for stint in stints if stint.stage == Stage.FILL_END), None)
    return None if end is None else end.starts.astimezone(job.site.tz).date()


def _fill_day(job: Job, band: Mapping[str, Any], stints: list[Stint]) -> FillDay:
    likely = likeliest(band)
    if likely is None and not band:
        likely = _planned(job, stints)
    nine = band.get("p90")
    return FillDay(likely, dt.date.fromisoformat(nine) if nine else None, job.promised_date)


def likeliest(band: Mapping[str, Any]) -> dt.date | None:
    """The date with the largest chance of its own; None where even odds lie beyond what is looked at."""
    rows = [(dt.date.fromisoformat(day), float(share)) for day, share in band.get("chance_by") or [] if day]
    if not rows or band.get("p50") is None:
        return None
    own = [(rows[0][1], rows[0][0])]
    own += [(after - before, day) for (_day, before), (day, after) in pairwise(rows)]
    most = max(share for share, _day in own)
    return next(day for share, day in own if share >= most - 1e-9)


def _steps(job: Job, stints: list[Stint]) -> list[Step]:
    """Days of the work before the water, without crews and hours."""
    zone = job.site.tz
    together = {Stage.DRAIN_SETUP: "drain", Stage.DRAIN_PULL: "drain", Stage.BOND_AGAIN: "bond"}
    found: dict[str, Step] = {}
    for stint in stints:
        if stint.stage in (Stage.START_UP, Stage.FILL_START, Stage.FILL_END):
            continue
        name = together.get(Stage(stint.stage), stint.stage)
        first = stint.starts.astimezone(zone).date()
        last = (stint.ends - dt.timedelta(seconds=1)).astimezone(zone).date()
        done = stint.state == StintState.DONE
        known = found.get(name)
        if known is not None:
            first, last, done = min(first, known.first), max(last, known.last), done and known.done
        found[name] = Step(name, first, last, done)
    return sorted(found.values(), key=lambda step: step.first)


def owner_sentences(job: Job, settings: StartUpSettings) -> dict[int, list[str]]:
    """What the pool owner does and does not do, by the day since the fill day, in the pool owner's language."""
    found: dict[int, list[str]] = {}
    with translation.override(job.pool_owner.language):
        for row in _dates(job, dt.date.min, settings):
            found.setdefault(row.day, []).append(row.text)
    return found


def _dates(job: Job, day_zero: dt.date, settings: StartUpSettings | None = None) -> list[DoNot]:
    """From the fill day to day 28, in order."""

    def at(day: int, text: str) -> DoNot:
        return DoNot(day_zero + dt.timedelta(days=day), day, text)

    settings = settings or start_up_settings()
    firsts = first_days(job.finish, settings)
    until = settings.brush_until_day
    rows = [
        at(0, _("Leave the water running until we stop it. Nobody in the pool, no pets; keep the gate shut.")),
        at(0, _("Once it is full the filter runs day and night for %(h)d hours.") % {"h": settings.filter_h}),
        at(1, _("The whole surface is brushed %(times)s a day until day %(day)d; we show you how.")
           % {"times": times_words(settings.brushings_per_day), "day": until}),
    ]  # fmt: skip
    rows.append(at(1, _("Keep the water at the middle of the tile; ring us before you add any or let any out.")))
    by_day: dict[int, list[str]] = {}
    for thing, words in WAIT_WORDS.items():
        by_day.setdefault(firsts[thing], []).append(_(words))
    for day, things in sorted(by_day.items()):
        rows.append(
            at(day, _("Not before this day, and only when we tell you that the water is ready: %(things)s.")
               % {"things": listed(things)})
        )  # fmt: skip
    rows.append(at(LAST_DAY, _("End of the start-up: we hand the water over to you.")))
    return sorted(rows, key=lambda row: row.day)


def fill_words(sheet: PoolOwnerSheet, units: str) -> str:
    """The fill day with its band in words."""
    full = sheet.running.full if sheet.running is not None else None
    if full is not None:
        likely, late = full.p50, full.p90
        if likely.date() == late.date():
            return _("Your pool is filling. It will be full most likely at %(at)s on %(day)s, nine chances in ten by "
                     "%(late)s.") % {"at": clock_words(likely, units), "day": day_words(likely.date()),
                                     "late": clock_words(late, units)}  # fmt: skip
        return _("Your pool is filling. It will be full most likely at %(at)s on %(day)s, nine chances in ten by "
                 "%(late)s on %(late_day)s.") % {"at": clock_words(likely, units), "day": day_words(likely.date()),
                                                 "late": clock_words(late, units),
                                                 "late_day": day_words(late.date())}  # fmt: skip
    likely_day, nine = sheet.fill.likely, sheet.fill.nine_in_ten
    if likely_day is None:
        return _("The fill day cannot be told yet; this page will show it as soon as it can.")
    if nine is None:
        return _("Your pool will be full most likely on %(day)s; it may well be later.") % {
            "day": day_words(likely_day)
        }
    if nine <= likely_day:
        return _("Your pool will be full on %(day)s, nine chances in ten.") % {"day": day_words(likely_day)}
    return _("Your pool will be full most likely on %(day)s, nine chances in ten by %(nine)s.") % {
        "day": day_words(likely_day),
        "nine": day_words(nine),
    }
