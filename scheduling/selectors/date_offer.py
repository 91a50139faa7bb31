"""Which fill day may be told to the pool owner, how sure it is, and what it asks of the others."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.utils import translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from jobs.models import Job
from scheduling.models import Stage, Stint, StintState
from scheduling.selectors.job_dates import JobDates


@dataclass(frozen=True)
class Offer:
    """One date to tell: its words, the chance that the pool is full by then, and what to say."""

    words: str
    day: dt.date
    chance: float
    sentence: str
    others: str


@dataclass(frozen=True)
class DateOffers:
    """What can be told today."""

    offers: tuple[Offer, ...]
    planned: dt.date | None
    later: float


def date_offers(job: Job, dates: JobDates) -> DateOffers:
    """The dates of the band, one line each; equal dates are one line."""
    planned = planned_full(job)
    by_day: dict[dt.date, list[str]] = {}
    for one in dates.band:
        if one.day is not None:
            by_day.setdefault(one.day, []).append(one.words)
    offers = tuple(offer(job, dates, day, ", ".join(words), planned) for day, words in by_day.items())
    return DateOffers(offers, planned, dates.later)


def offer(job: Job, dates: JobDates, day: dt.date, words: str, planned: dt.date | None) -> Offer:
    share = chance_by(dates, day)
    return Offer(words, day, share, owner_sentence(job, day, share), others_words(day, planned))


def chance_by(dates: JobDates, day: dt.date) -> float:
    """Chance that the pool is full on or before a day."""
    return max((row.by for row in dates.chances if row.day <= day), default=0.0)


def planned_full(job: Job) -> dt.date | None:
    """The fill day of the issued plan."""
    end = (
        Stint.objects.filter(job=job, key=Stage.FILL_END, plan__isnull=False).exclude(state=StintState.DROPPED).first()
    )
    return end.starts.astimezone(job.site.tz).date() if end else None


def others_words(day: dt.date, planned: dt.date | None) -> str:
    """What a date asks of other jobs: dates are computed in the room that the issued stints leave."""
    if planned is None:
        return _("Fits into what the crews have free; the plan asked for then shows whether anybody has to give way.")
    if day >= planned:
        return _("No other date moves: the plan has it full %(day)s.") % {"day": date_format(planned, "D j M")}
    return _("Needs a new plan: the plan in force has it full only %(day)s, and others may have to move.") % {
        "day": date_format(planned, "D j M")
    }


def owner_sentence(job: Job, day: dt.date, share: float) -> str:
    """What to say to the pool owner, in their language."""
    with translation.override(job.pool_owner.language):
        said = date_format(day, "l j F")
        if share >= 0.895:
            return _("Your pool will be full by %(day)s, nine chances in ten; rain and cold may still move it.") % {
                "day": said
            }
        if share >= 0.795:
            return _("Your pool will be full by %(day)s, eight chances in ten; weather may move it by days.") % {
                "day": said
            }
        if share >= 0.495:
            return _(
                "Your pool may be full by %(day)s, about %(chances)s chances in ten; please plan nothing on that day."
            ) % {"day": said, "chances": int(10 * share)}
        return _("Your pool may be full by %(day)s, but it is more likely to be later.") % {"day": said}
