"""From kept entries to what one subscriber reads."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Final

from django.conf import settings
from django.db.models import Q
from django.urls import reverse
from django.utils import translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from jobs.models import Job
from scheduling.calendars import Entry, Feed
from scheduling.models import FILL, CalendarEntry, Crew, Stage
from scheduling.selectors.alarms import alarms_of
from shared import clock
from shared.models import AccessToken, TokenKind

KEPT_AFTER_CANCEL: Final = dt.timedelta(days=60)
PURPOSES: Final = ("pool_owner", "crew", "firm", "doubt")
DOUBT_DAYS: Final = 3  # a date is in doubt when the nine-in-ten date lies so many days after the promised one


def feed_of(token: AccessToken, *, now: dt.datetime | None = None) -> Feed:
    """The calendar that this link opens."""
    now, alarms = now or clock.now(), alarms_of(token)
    rows = (
        CalendarEntry.objects.select_related("job__site", "job__pool_owner")
        .filter(Q(cancelled_at=None) | Q(cancelled_at__gt=now - KEPT_AFTER_CANCEL))
        .order_by("created_at", "id")
    )
    if token.purpose == "pool_owner" and token.subject_id is not None:
        return _pool_owner_feed(rows.filter(job_id=token.subject_id, key=FILL), token)
    if token.purpose == "crew" and token.subject_id is not None:
        crew = Crew.objects.get(pk=token.subject_id)
        entries = [_stint_entry(row, alarms) for row in rows.filter(crew_id=crew.pk).exclude(key=FILL)]
        name = _("%(crew)s: stints") % {"crew": crew.name}
        return Feed(name, _("Stints of the crew as issued."), tuple(entries))
    if token.purpose == "doubt":
        doubted = [row for row in rows.filter(key=FILL) if in_doubt(row)]
        entries = [_fill_entry(row, _firm_page(row.job), alarms=alarms) for row in doubted]
        return Feed(_("Dates in doubt"), _("Fill days whose promise may not hold."), tuple(entries))
    entries = [_fill_entry(row, _firm_page(row.job), alarms=alarms) for row in rows.filter(key=FILL)]
    name = _("%(firm)s: fill days") % {"firm": token.contractor.name}
    return Feed(name, _("The days on which pools are full."), tuple(entries))


def in_doubt(row: CalendarEntry) -> bool:
    """Nine chances in ten lie later than the promised date by more than the allowance, or nothing was promised."""
    p90 = (row.facts.get("band") or {}).get("p90")
    promised = row.job.promised_date
    if promised is None or row.cancelled_at is not None:
        return False
    if row.day is not None and row.day > promised:
        return True
    return p90 is None or dt.date.fromisoformat(p90) > promised + dt.timedelta(days=DOUBT_DAYS)


def _pool_owner_feed(rows: Iterable[CalendarEntry], token: AccessToken) -> Feed:
    found = list(rows)
    language = found[0].job.pool_owner.language if found else "en"
    with translation.override(language):
        entries = [_fill_entry(row, pool_owner_page(row.job), private=True, alarms=alarms_of(token)) for row in found]
        return Feed(
            _("Fill day of your pool"),
            _("From %(firm)s. The date may move with the weather; this calendar follows it.")
            % {"firm": token.contractor.name},
            tuple(entries),
        )


def _fill_entry(row: CalendarEntry, url: str, *, private: bool = False, alarms: tuple[dt.timedelta, ...] = ()) -> Entry:
    summary = _("Pool full") if private else _("Full: %(site)s") % {"site": row.job.site.label}
    return Entry(
        uid=row.uid,
        sequence=row.sequence,
        created=row.created_at,
        changed=row.changed_at,
        summary=summary,
        description="\n".join(_fill_lines(row)),
        category=_("fill"),
        zone=row.job.site.zone,
        day=row.day,
        location="" if private else row.job.site.address,
        url=url,
        confirmed=row.confirmed,
        cancelled=row.cancelled_at is not None,
        alarms_before=alarms,
    )


def _fill_lines(row: CalendarEntry) -> list[str]:
    lines = []
    if row.starts is not None:
        local = row.starts.astimezone(row.job.site.tz)
        lines.append(_("Filling starts %(when)s and does not stop until the pool is full.") % {"when": _when(local)})
    band = row.facts.get("band") or {}
    words = {"p50": _("even chance by"), "p80": _("8 in 10 by"), "p90": _("9 in 10 by")}
    known = [(words[name], band[name]) for name in ("p50", "p80", "p90") if band.get(name)]
    if known and not row.confirmed:
        lines.append("; ".join(f"{word} {_day(dt.date.fromisoformat(date))}" for word, date in known) + ".")
    lines.append(_("Keep people and animals away from an empty or filling pool."))
    return lines


def _stint_entry(row: CalendarEntry, alarms: tuple[dt.timedelta, ...]) -> Entry:
    stage = Stage(row.facts["stage"]).label
    return Entry(
        uid=row.uid,
        sequence=row.sequence,
        created=row.created_at,
        changed=row.changed_at,
        summary=_("%(stage)s: %(site)s") % {"stage": stage, "site": row.job.site.label},
        description=_("Job %(number)s") % {"number": row.job.number},
        category=str(stage),
        zone=row.job.site.zone,
        starts=row.starts,
        ends=row.ends,
        location=row.job.site.address,
        url=settings.SITE_URL + reverse("today"),
        confirmed=row.confirmed,
        cancelled=row.cancelled_at is not None,
        alarms_before=alarms,
    )


def _firm_page(job: Job) -> str:
    return str(settings.SITE_URL + reverse("job", args=[job.pk]))


def pool_owner_page(job: Job) -> str:
    """The pool owner's private page; empty when its link was revoked."""
    links = AccessToken.objects.filter(kind=TokenKind.LINK, purpose="pool_owner", subject_id=job.pk, revoked_at=None)
    token = links.order_by("created_at").last()
    return "" if token is None else str(settings.SITE_URL + reverse("pool-owner", args=[token.secret]))


def _when(local: dt.datetime) -> str:
    return f"{_day(local.date())} {date_format(local, 'H:i')}"


def _day(date: dt.date) -> str:
    return date_format(date, "l j F")
