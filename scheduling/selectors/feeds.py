"""From kept entries to what one subscriber reads."""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db.models import Q
from django.urls import reverse
from django.utils import translation
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from jobs.models import Job
from scheduling.calendars import Entry, Feed
from scheduling.models import FILL, OWNER, CalendarEntry, Crew, Stage
from scheduling.selectors.alarms import alarms_of
from scheduling.words import clock_words, day_words
from shared import clock
from shared.models import AccessToken, Firm, TokenKind
from shared.models.firm import Units

KEPT_AFTER_CANCEL: Final = dt.timedelta(days=60)
PURPOSES: Final = ("pool_owner", "crew", "firm", "doubt")
DOUBT_DAYS: Final = 3  # a date is in doubt when the nine-in-ten date lies so many days after the promised one


COLUMNS: Final = (
    "key", "uid", "sequence", "created_at", "changed_at", "cancelled_at", "day", "starts", "ends", "confirmed", "facts",
    "job_id", "job__number", "job__promised_date",
    "job__site__label", "job__site__address", "job__site__zone", "job__pool_owner__language",
)  # fmt: skip


@dataclass(frozen=True)
class FeedFacts:
    """All that a calendar is made of: the same facts, the same bytes.

    rows : the kept entries, oldest first, by `COLUMNS`;  page : the pool owner's private page
    units : the firm's, for clock times
    """

    purpose: str
    language: str
    firm: str
    crew: str
    page: str
    alarms: tuple[dt.timedelta, ...]
    units: str
    rows: tuple[Any, ...]


def facts_of(token: AccessToken, *, now: dt.datetime | None = None) -> FeedFacts:
    """What this link opens, read in a fixed number of queries."""
    now = now or clock.now()
    crew, page, language = "", "", translation.get_language() or "en"
    entries = CalendarEntry.objects.filter(Q(cancelled_at=None) | Q(cancelled_at__gt=now - KEPT_AFTER_CANCEL))
    if token.purpose == "crew" and token.subject_id is not None:
        crew = Crew.objects.values_list("name", flat=True).get(pk=token.subject_id)
        entries = entries.filter(crew_id=token.subject_id).exclude(key=FILL)
    elif token.purpose == "pool_owner" and token.subject_id is not None:
        entries = entries.filter(Q(key=FILL) | Q(key__startswith=OWNER), job_id=token.subject_id)
    else:
        entries = entries.filter(key=FILL)
    rows = tuple(entries.order_by("created_at", "id").values_list(*COLUMNS, named=True))
    if token.purpose == "pool_owner":
        language, page = rows[0].job__pool_owner__language if rows else "en", page_of_job(token.subject_id)
    units = Firm.objects.values_list("units", flat=True).first() or Units.US
    return FeedFacts(token.purpose, language, token.contractor.name, crew, page, alarms_of(token), units, rows)


def feed_of(token: AccessToken, *, now: dt.datetime | None = None) -> Feed:
    """The calendar that this link opens."""
    return feed_from(facts_of(token, now=now))


def feed_from(facts: FeedFacts) -> Feed:
    """The calendar of these facts, in their language."""
    with translation.override(facts.language):
        if facts.purpose == "pool_owner":
            name = _("Fill day of your pool")
            said = _("From %(firm)s. The date may move with the weather; this calendar follows it.")
            entries = [
                _fill_entry(row, facts, facts.page, private=True)
                if row.key == FILL
                else _owner_entry(row, facts.page, facts.alarms)
                for row in facts.rows
            ]
            return Feed(name, said % {"firm": facts.firm}, tuple(entries))
        if facts.purpose == "crew":
            name = _("%(crew)s: stints") % {"crew": facts.crew}
            today = settings.SITE_URL + reverse("today")
            entries = [_stint_entry(row, today, facts.alarms) for row in facts.rows]
            return Feed(name, _("Stints of the crew as issued."), tuple(entries))
        if facts.purpose == "doubt":
            doubted = [row for row in facts.rows if in_doubt(row)]
            entries = [_fill_entry(row, facts, _firm_page(row.job_id)) for row in doubted]
            return Feed(_("Dates in doubt"), _("Fill days whose promise may not hold."), tuple(entries))
        entries = [_fill_entry(row, facts, _firm_page(row.job_id)) for row in facts.rows]
        name = _("%(firm)s: fill days") % {"firm": facts.firm}
        return Feed(name, _("The days on which pools are full."), tuple(entries))


def in_doubt(row: Any) -> bool:
    """Nine chances in ten lie later than the promised date by more than the allowance; nothing promised, no doubt."""
    p90 = (row.facts.get("band") or {}).get("p90")
    promised = row.job__promised_date
    if promised is None or row.cancelled_at is not None:
        return False
    if row.day is not None and row.day > promised:
        return True
    if row.facts.get("begun"):
        return False
    return p90 is None or dt.date.fromisoformat(p90) > promised + dt.timedelta(days=DOUBT_DAYS)


def _fill_entry(row: Any, facts: FeedFacts, url: str, *, private: bool = False) -> Entry:
    summary = _("Pool full") if private else _("Full: %(site)s") % {"site": row.job__site__label}
    return Entry(
        uid=row.uid,
        sequence=row.sequence,
        created=row.created_at,
        changed=row.changed_at,
        summary=summary,
        description="\n".join([*_fill_lines(row, facts.units), *(row.facts.get("owner") or [] if private else [])]),
        category=_("fill"),
        zone=row.job__site__zone,
        day=row.day,
        location="" if private else row.job__site__address,
        url=url,
        confirmed=row.confirmed,
        cancelled=row.cancelled_at is not None,
        alarms_before=facts.alarms,
    )


def _owner_entry(row: Any, url: str, alarms: tuple[dt.timedelta, ...]) -> Entry:
    """A day of the first month: what the pool owner does, and what may not be done before it."""
    return Entry(
        uid=row.uid,
        sequence=row.sequence,
        created=row.created_at,
        changed=row.changed_at,
        summary=_("Your pool, day %(n)s") % {"n": row.key.removeprefix(OWNER)},
        description="\n".join(row.facts.get("owner") or []),
        category=_("start-up"),
        zone=row.job__site__zone,
        day=row.day,
        url=url,
        confirmed=row.confirmed,
        cancelled=row.cancelled_at is not None,
        alarms_before=alarms,
    )


def _fill_lines(row: Any, units: str) -> list[str]:
    lines = []
    if row.starts is not None:
        local = row.starts.astimezone(ZoneInfo(row.job__site__zone))
        said = _("Filling starts %(when)s and does not stop until the pool is full.")
        if row.facts.get("begun"):
            said = _("Filling began %(when)s and does not stop until the pool is full.")
        lines.append(said % {"when": _when(local, units)})
    band = row.facts.get("band") or {}
    words = {"p50": _("even chance by"), "p80": _("8 in 10 by"), "p90": _("9 in 10 by")}
    known = [(words[name], band[name]) for name in ("p50", "p80", "p90") if band.get(name)]
    if known and not row.confirmed:
        said = "; ".join(f"{word} {day_words(dt.date.fromisoformat(date))}" for word, date in known)
        lines.append(f"{capfirst(said)}.")
    lines.append(_("Keep people and animals away from an empty or filling pool."))
    return lines


def _stint_entry(row: Any, url: str, alarms: tuple[dt.timedelta, ...]) -> Entry:
    stage = Stage(row.facts["stage"]).label if "stage" in row.facts else _("stint")
    return Entry(
        uid=row.uid,
        sequence=row.sequence,
        created=row.created_at,
        changed=row.changed_at,
        summary=_("%(stage)s: %(site)s") % {"stage": stage, "site": row.job__site__label},
        description=_("Job %(number)s") % {"number": row.job__number},
        category=str(stage),
        zone=row.job__site__zone,
        starts=row.starts,
        ends=row.ends,
        location=row.job__site__address,
        url=url,
        confirmed=row.confirmed,
        cancelled=row.cancelled_at is not None,
        alarms_before=alarms,
    )


def _firm_page(job_id: uuid.UUID) -> str:
    return str(settings.SITE_URL + reverse("job", args=[job_id]))


def pool_owner_page(job: Job) -> str:
    """The pool owner's private page; empty when its link was revoked."""
    return page_of_job(job.pk)


def page_of_job(job_id: uuid.UUID | None) -> str:
    links = AccessToken.objects.filter(kind=TokenKind.LINK, purpose="pool_owner", subject_id=job_id, revoked_at=None)
    token = links.order_by("created_at").last()
    return "" if token is None else str(settings.SITE_URL + reverse("pool-owner", args=[token.secret]))


def _when(local: dt.datetime, units: str) -> str:
    return f"{day_words(local.date())}, {clock_words(local, units)},"
