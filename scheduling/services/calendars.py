"""What subscribers see follows from issued stints: ids stay, the sequence rises only on a real change."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any, Final

from jobs.models import ExpectedDates, Job, JobState
from jobs.selectors.start_up_figures import start_up_settings
from jobs.timeline.start_up_settings import StartUpSettings
from scheduling.models import FILL, OWNER, CalendarEntry, Stage, Stint, StintState
from scheduling.selectors.pool_owner import owner_sentences
from scheduling.services.hooks import fills_tell
from scheduling.services.notices import Move, moves_note
from shared.ids import uuid7
from shared.models import Contractor

ALIVE: Final = (StintState.ISSUED, StintState.BEGUN, StintState.DONE, StintState.PROPOSED)


def calendar_refresh(
    contractor: Contractor, jobs: Iterable[Job], *, at: dt.datetime, why: Mapping[Any, str] | None = None
) -> int:
    """Bring the entries of these jobs up to date; returns how many a subscriber would notice.

    What has moved is noted for mails and hooks in the same transaction; *why* holds a reason by job.
    """
    listed = [job for job in jobs if job is not None]
    _lock(listed)
    stints: dict[Any, list[Stint]] = defaultdict(list)
    for stint in Stint.objects.filter(job__in=listed, plan__isnull=False, state__in=ALIVE).select_related("crew"):
        stints[stint.job_id].append(stint)
    bands = {row.job_id: row.band for row in ExpectedDates.objects.filter(job__in=listed)}
    present: dict[Any, dict[str, CalendarEntry]] = defaultdict(dict)
    for entry in CalendarEntry.objects.filter(job__in=listed):
        present[entry.job_id][entry.key] = entry
    settings = start_up_settings() if listed else None
    changed, moves = 0, []
    fresh = list(Job.objects.filter(pk__in=[job.pk for job in listed]).select_related("site", "pool_owner"))
    for job in fresh:
        wanted = {} if job.state == JobState.CALLED_OFF else _wanted(job, stints[job.pk], bands.get(job.pk), settings)
        for key, facts in wanted.items():
            known = present[job.pk].get(key)
            stood = [] if known is None else [Move(known, job, known.day, known.starts, known.crew_id)]
            if _keep(job, key, facts, known, at):
                changed += 1
                moves += stood
        gone = set(present[job.pk]) - set(wanted)
        changed += sum(_cancel(present[job.pk][key], at) for key in gone)
    moves_note(contractor, moves, at=at, why=why or {})
    fills_tell(contractor, fresh, moves)
    return changed


def _lock(jobs: Iterable[Job]) -> None:
    """One refresh of a job after the other, or a sequence could miss a change."""
    rows = Job.objects.select_for_update(no_key=True).filter(pk__in=[job.pk for job in jobs])
    list(rows.order_by("pk").values_list("pk"))


def _wanted(
    job: Job, stints: list[Stint], band: dict[str, Any] | None, settings: StartUpSettings | None
) -> dict[str, dict[str, Any]]:
    entries: dict[str, dict[str, Any]] = {}
    by_key = {stint.key: stint for stint in stints}
    for stint in stints:
        entries[stint.key] = {
            "starts": stint.starts.isoformat(),
            "ends": stint.ends.isoformat(),
            "crew": str(stint.crew_id),
            "stage": stint.stage,
            "confirmed": stint.state != StintState.PROPOSED,
        }
    end, start = by_key.get(Stage.FILL_END), by_key.get(Stage.FILL_START)
    if end is not None:
        day = job.filled_on or end.starts.astimezone(job.site.tz).date()
        sure = any(
            stint.state in (StintState.BEGUN, StintState.DONE)
            for stint in stints
            if stint.stage in (Stage.PLASTER, Stage.FILL_START)
        )
        entries[FILL] = {
            "day": day.isoformat(),
            "starts": start.begins.isoformat() if start is not None else None,
            "confirmed": sure,
            "begun": not job.fill_ahead,
            "band": {name: (band or {}).get(name) if job.fill_ahead else None for name in ("p50", "p80", "p90")},
        }
        if settings is not None:
            _first_month(entries, day, job, settings)
    return entries


def _first_month(entries: dict[str, dict[str, Any]], day: dt.date, job: Job, settings: StartUpSettings) -> None:
    """What the pool owner does and does not do until day 28; what is for the fill day stands in its own entry."""
    for number, sentences in owner_sentences(job, settings).items():
        if number == 0:
            entries[FILL]["owner"] = sentences
        else:
            at = (day + dt.timedelta(days=number)).isoformat()
            facts = {"day": at, "number": number, "owner": sentences, "confirmed": job.filled_on is not None}
            entries[f"{OWNER}{number}"] = facts


def _keep(job: Job, key: str, facts: dict[str, Any], entry: CalendarEntry | None, at: dt.datetime) -> bool:
    fingerprint = hashlib.sha256(json.dumps(facts, sort_keys=True).encode()).hexdigest()
    if entry is not None and entry.fingerprint == fingerprint and entry.cancelled_at is None:
        return False
    if entry is None:
        new_id = uuid7()
        entry = CalendarEntry(id=new_id, job=job, key=key, uid=f"{new_id}@resurf", created_at=at)
    else:
        entry.sequence += 1
    entry.fingerprint, entry.changed_at, entry.cancelled_at, entry.facts = fingerprint, at, None, facts
    entry.crew_id = facts.get("crew")
    entry.starts, entry.ends = _instant(facts.get("starts")), _instant(facts.get("ends"))
    entry.day = dt.date.fromisoformat(facts["day"]) if "day" in facts else None
    entry.confirmed = bool(facts["confirmed"])
    entry.save()
    return True


def _cancel(entry: CalendarEntry, at: dt.datetime) -> bool:
    if entry.cancelled_at is not None:
        return False
    entry.cancelled_at = entry.changed_at = at
    entry.sequence += 1
    entry.save(update_fields=["cancelled_at", "changed_at", "sequence"])
    return True


def _instant(text: str | None) -> dt.datetime | None:
    return dt.datetime.fromisoformat(text) if text else None
