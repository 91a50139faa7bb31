"""What has to be told becomes rows, once each by their natural key; mails are made of them in `services.mails`."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.db import transaction

from jobs.models import Job, JobState
from scheduling.models import FILL, CalendarEntry, Crew, Notice, NoticeKind, NoticeState, NoticeWatch, Stage
from scheduling.notice_times import after_mail_free, wall_instant
from scheduling.selectors.notices_due import Due, Key, Look, dues, owner_of
from scheduling.selectors.receivers import Addressee, addressees
from scheduling.services.receivers import member_key, receivers_of
from shared.models import Contractor
from shared.tenancy.context import current_contractor_id
from shared.tenancy.turns import turn_taken
from shared.waking import task_wake

GATHER: Final = dt.timedelta(minutes=3)  # moves of one change are told in one mail, so a moment is waited for more
MOVES_AHEAD: Final = dt.timedelta(days=21)  # a stint farther away is in the calendar soon enough
MOVED_HOURS: Final = dt.timedelta(hours=1)
OVER: Final = (JobState.FILLING, JobState.FIRST_MONTH, JobState.FINISHED, JobState.CALLED_OFF)


def notices_look(contractor: Contractor, *, now: dt.datetime) -> int | None:
    """Note what fell due since the last look; None while another process is looking.

    The first look of a firm only opens the watch: what lies before it is told to nobody.
    """
    with transaction.atomic():
        if not turn_taken("notices", contractor.pk):
            return None
        watch, opened = NoticeWatch.objects.get_or_create(defaults={"looked_at": now})
        if not opened and watch.looked_at > now:
            return 0
        made = notices_note(contractor, dues(Look(contractor, watch.looked_at, now)), now=now)
        NoticeWatch.objects.filter(pk=watch.pk).update(looked_at=now)
    return made


def notices_note(contractor: Contractor, found: Sequence[Due], *, now: dt.datetime) -> int:
    """Keep what is not kept yet, a row for each receiver that wants it; returns how many are new."""
    if not found:
        return 0
    people = receivers_of(key for due in found for key in due.to)
    known = addressees(contractor, people.values())
    kept = set(
        Notice.objects.filter(subject_id__in={due.subject_id for due in found}, cause__in={due.cause for due in found})
        .values_list("kind", "subject_id", "receiver_id", "cause")
    )  # fmt: skip
    rows = []
    for due in found:
        for key in due.to:
            who = known.get(people[key].pk)
            if who is None or (due.kind, due.subject_id, who.receiver.pk, due.cause) in kept or not who.wants(due.kind):
                continue
            rows.append(_row(due, who, now))
    Notice.objects.bulk_create(rows, ignore_conflicts=True)
    if any(row.state == NoticeState.WAITING for row in rows):
        wake(contractor)
    return len(rows)


def _row(due: Due, who: Addressee, now: dt.datetime) -> Notice:
    due_at = max(due.due_at, now)
    if not who.at_any_hour(due.kind):
        due_at = after_mail_free(due_at, who.receiver.free_from_min, who.receiver.free_until_min, who.zone)
    why = not_sent_why(who, due.void_after, now, due_at)
    return Notice(
        contractor_id=current_contractor_id(),
        kind=due.kind,
        subject_id=due.subject_id,
        job=due.job,
        receiver=who.receiver,
        cause=due.cause,
        facts=dict(due.facts),
        state=NoticeState.SKIPPED if why else NoticeState.WAITING,
        why=why,
        made_at=now,
        due_at=due_at,
        void_after=due.void_after,
    )


def not_sent_why(who: Addressee, void_after: dt.datetime, now: dt.datetime, due_at: dt.datetime) -> str:
    """Code of why a notice cannot be sent, or nothing."""
    if void_after <= now:
        return "late"
    if due_at >= void_after:
        return "mail_free"
    if not who.email:
        return "no_address"
    if who.refused:
        return "refused"
    return ""


@dataclass(frozen=True)
class Move:
    """A calendar entry that was issued, and now stands on another day or hour."""

    entry: CalendarEntry
    job: Job
    old_day: dt.date | None
    old_starts: dt.datetime | None
    old_crew: Any = None

    @property
    def noticeable(self) -> bool:
        entry, job = self.entry, self.job
        if entry.cancelled_at is not None or job.state in OVER or job.filled_on is not None:
            return False
        if entry.key == FILL:
            return self.old_day is not None and self.old_day != entry.day
        if not entry.confirmed or self.old_starts is None or entry.starts is None:
            return False
        days = [at.astimezone(job.site.tz).date() for at in (self.old_starts, entry.starts)]
        return days[0] != days[1] or abs(entry.starts - self.old_starts) >= MOVED_HOURS


def moves_note(contractor: Contractor, moves: Iterable[Move], *, at: dt.datetime, why: Mapping[Any, str]) -> int:
    """Moved dates as notices, gathered for a moment; nothing before the firm's watch was opened."""
    told = [move for move in moves if move.noticeable]
    if not told or not NoticeWatch.objects.filter(looked_at__lte=at).exists():
        return 0
    look = Look(contractor, at, at)
    found = [due for move in told for due in _of_move(look, move, why.get(move.job.pk, ""))]
    return notices_note(contractor, found, now=at)


def _of_move(look: Look, move: Move, why: str) -> Iterable[Due]:
    entry, job, at = move.entry, move.job, look.now
    facts: dict[str, Any] = {"key": entry.key, "entry": str(entry.pk), "why": why}
    cause = f"{entry.pk} {entry.sequence}"
    if entry.key == FILL and entry.day is not None and move.old_day is not None:
        facts |= {"old": move.old_day.isoformat(), "new": entry.day.isoformat()}
        void = wall_instant(max(entry.day, move.old_day), 24 * 60, job.site.tz)
        yield Due(NoticeKind.MOVED, job.pk, job, owner_of(job) + look.office(), cause, at + GATHER, void, facts)
    elif entry.key != FILL and entry.starts is not None and move.old_starts is not None:
        stage = entry.facts["stage"]
        soon = min(entry.starts, move.old_starts) < at + MOVES_AHEAD
        to = _leads({entry.crew_id, move.old_crew})
        if stage != Stage.START_UP and soon and to:
            facts |= {"stage": stage, "old": move.old_starts.isoformat(), "new": entry.starts.isoformat()}
            void = max(entry.starts, move.old_starts)
            yield Due(NoticeKind.MOVED, job.pk, job, to, cause, at + GATHER, void, facts)


def _leads(crew_ids: set[Any]) -> tuple[Key, ...]:
    rows = Crew.objects.filter(pk__in=[pk for pk in crew_ids if pk]).values_list("lead_id", flat=True)
    return tuple(member_key(pk) for pk in sorted({pk for pk in rows if pk}, key=str))


def wake(contractor: Contractor) -> None:
    """Send the message that wakes a worker, after the commit; a lost one only waits for the sweep."""
    task_wake("scheduling.mails", str(contractor.pk), queue="notices")
