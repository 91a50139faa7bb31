"""What is left of the work of a day of faults. Asks the database itself."""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import time
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from typing import Any, Final

import httpx
import icalendar
from django.core.files.storage import default_storage
from django.db import Error as DatabaseError
from django.db import close_old_connections, connection

from jobs.models import Job, Observation, Photo, SiteLog, WaterTest
from scheduling.models import (
    Absence,
    CalendarEntry,
    HookCall,
    Mail,
    Notice,
    PhoneEntry,
    Plan,
    PlanRun,
    PlanState,
    RunState,
    Stint,
)
from scheduling.selectors.plan_stints import timed_stints
from scheduling.services.plan_runs import SILENT_S
from scheduling.slots import SlotClock
from scheduling.solver.plan import Plan as Answer
from scheduling.solver.problem import Problem
from shared import clock
from shared.models import Contractor, OutgoingState
from shared.tenancy.context import acting_for
from tests.faults.ledger import Ledger

PENDING: Final = (RunState.WAITING, RunState.RUNNING)
UNSENT: Final = (OutgoingState.WAITING, OutgoingState.SENDING)
SURELY_DEAD: Final = dt.timedelta(seconds=30)  # a living search gives a sign every few seconds
TRIES: Final = 30


def busy() -> dict[str, int]:
    """How many searches, mails and calls of hooks still wait or run, over all firms; empty: none."""

    def ask() -> dict[str, int]:
        found: Counter[str] = Counter()
        for contractor in Contractor.objects.all():
            with acting_for(contractor.pk):
                now, calls = clock.now(), HookCall.objects.filter(state__in=UNSENT)
                calls.filter(state=OutgoingState.WAITING).update(next_try_at=now)  # as if its wait were over
                dead = PlanRun.objects.filter(state=RunState.RUNNING, beat_at__lt=now - SURELY_DEAD)
                dead.update(beat_at=now - dt.timedelta(seconds=SILENT_S + 1))  # as if it had been silent long enough
                waiting = {"searches": PlanRun.objects.filter(state__in=PENDING), "mails": _unsent(), "calls": calls}
                found.update({name: rows.count() for name, rows in waiting.items()})
        return dict(+found)

    found: dict[str, int] = _answered(ask)
    return found


def settled_tally(ledger: Ledger, feeds: Iterable[str], letters: Sequence[tuple[str, str]]) -> dict[str, Any]:
    """Counts of what is not as it must be, with the first few of each in words."""
    counts: Counter[str] = Counter()
    words: list[str] = []
    repeats: dict[tuple[str, str], int] = {}
    sent, notices = 0, 0

    def bad(kind: str, sentence: str) -> None:
        counts[kind] += 1
        words.append(f"{kind}: {sentence}")

    for contractor in Contractor.objects.all():
        with acting_for(contractor.pk):
            mine = [(kind, what) for slug, kind, what in ledger.acknowledged if slug == contractor.slug]
            for kind, what in mine:
                if kind == "call":
                    continue  # a call has no word of its own before it is made: `calls_tally` counts them
                kept = KEPT[kind](what)
                if kept == 0:
                    bad("lost", f"{contractor.slug} {kind} {what}")
                if kept > 1:
                    bad("doubled", f"{contractor.slug} {kind} {what}: {kept} times")
            for sentence in _half_issued(contractor):
                bad("half_issued", f"{contractor.slug} {sentence}")
            for run in PlanRun.objects.filter(state__in=PENDING):
                bad("stuck", f"{contractor.slug} search {run.pk} {run.state}")
            for mail in _unsent():
                bad("stuck", f"{contractor.slug} mail {mail.pk} {mail.state}")
            repeats.update({(mail.to, mail.message_id): mail.repeats for mail in Mail.objects.all()})
            sent += Mail.objects.filter(state=OutgoingState.SENT).count()
            notices += Notice.objects.count()
    taken = Counter((receiver, number.strip("<>")) for receiver, number in letters)
    allowed = {(receiver, number.strip("<>")): times for (receiver, number), times in repeats.items()}
    for letter, times in taken.items():
        if times > 1 + allowed.get(letter, 0):
            bad("doubled", f"letter {letter[1]} to {letter[0]}: {times} times")
    for sentence in [*ledger.feeds_broken, *_broken_feeds(feeds)]:
        bad("invalid_feeds", sentence)
    names = ("lost", "doubled", "half_issued", "stuck", "invalid_feeds")
    letters_of = {
        "notices": notices,
        "mails_sent": sent,
        "accepted_unrecorded": sum(times - 1 for times in taken.values()),
    }
    return {**{name: counts[name] for name in names}, **letters_of, "words": words[:20]}


def _unsent() -> Any:
    """Mails whose time has come and that are neither sent nor given up."""
    return Mail.objects.filter(state__in=UNSENT, next_try_at__lte=clock.now())


def _surveyed(what: str) -> int:
    """Answers replace one another, so one is kept however often it was given."""
    job, name = what.split()
    pools = Job.objects.filter(pk=job).values("pool")
    return min(1, Observation.objects.filter(survey__pool__in=pools, name=name).count())


def _photo(words: str) -> int:
    """Rows with both files as they were drawn."""
    rows = Photo.objects.filter(words=words)
    return sum(_file_is(row.file, row.sha256) and default_storage.exists(row.small_file) for row in rows)


def _file_is(name: str, digest: str) -> bool:
    with contextlib.suppress(OSError), default_storage.open(name) as stored:
        return hashlib.sha256(stored.read()).hexdigest() == digest
    return False


def _phone(number: str) -> int:
    """The claimed id and what came of it."""
    counts = (PhoneEntry.objects.filter(client_id=number).count(), SiteLog.objects.filter(client_id=number).count())
    return max(counts) if all(counts) else 0


def _taken_in_part(proposal: str) -> int:
    """A part is a plan of its own; every move of a proposal is the proposal itself."""
    found = Plan.objects.get(pk=proposal)
    parts = Plan.objects.filter(why=f"part of plan {found.version}", issued_at__isnull=False).count()
    return parts + (found.issued_at is not None)


KEPT: Final[dict[str, Callable[[str], int]]] = {
    "log": lambda what: SiteLog.objects.filter(client_id=what).count(),
    "job": lambda what: Job.objects.filter(site__label=what).count(),
    "survey": _surveyed,
    "photo": _photo,
    "phone": _phone,
    "water": lambda what: WaterTest.objects.filter(client_id=what).count(),
    "absence": lambda what: Absence.objects.filter(reason=what).count(),
    "issue_some": _taken_in_part,
    "run": lambda what: PlanRun.objects.filter(pk=what).count(),
    "issue": lambda what: Plan.objects.filter(
        pk=what, state__in=(PlanState.ISSUED, PlanState.PAST), issued_at__isnull=False
    ).count(),
}


def _half_issued(contractor: Contractor) -> list[str]:
    """The issued plan against the stints in force, and those against the calendars."""
    found = []
    for plan in Plan.objects.filter(state=PlanState.ISSUED):
        slots = SlotClock(plan.first_day, contractor.tz)
        wanted = timed_stints(Problem.from_json(plan.problem), Answer.from_json(plan.answer), slots)
        rows = Stint.objects.filter(plan=plan).exclude(state="dropped")
        kept = {(str(row.job_id), row.key): (str(row.crew_id), row.starts, row.ends) for row in rows}
        if kept != wanted:
            found.append(f"plan {plan.version}: {len(set(kept.items()) ^ set(wanted.items()))} stints differ")
    issued = {(row.job_id, row.key): row.starts for row in Stint.objects.filter(state="issued")}
    shown = {
        (row.job_id, row.key): row.starts
        for row in CalendarEntry.objects.filter(cancelled_at=None, day=None).exclude(key="fill")
    }
    differ = [key for key, starts in shown.items() if key in issued and issued[key] != starts]
    if differ or issued.keys() - shown.keys():
        found.append(f"{len(differ)} calendar entries at other times, {len(issued.keys() - shown.keys())} missing")
    return found


def _broken_feeds(feeds: Iterable[str]) -> list[str]:
    broken = []
    for address in feeds:
        answer = httpx.get(address, timeout=20)
        try:
            answer.raise_for_status()
            calendar = icalendar.Calendar.from_ical(answer.content)
            if not calendar.walk("VEVENT"):
                broken.append(f"{address}: empty")
        except (httpx.HTTPError, ValueError, KeyError) as refused:
            broken.append(f"{address}: {refused}")
    return broken


def _answered(ask: Callable[[], Any]) -> Any:
    """Ask again while the database is coming back."""
    for left in reversed(range(TRIES)):
        try:
            return ask()
        except DatabaseError:
            close_old_connections()
            connection.close()
            if not left:
                raise
            time.sleep(1)
    return None
