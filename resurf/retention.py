"""How long what is kept: a table, and a nightly sweep that deletes what is older.

What the work itself needs (jobs, measures, logs, water, hours) and the audit trail stay as long as the firm does; a
pool owner's personal data go on request (`resurf/erasure`). The operator may change the days (RETENTION_DAYS).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Final

from django.conf import settings
from django.db import connection
from django.db.models import Exists, OuterRef, Q, QuerySet

from jobs.models import JobState
from scheduling.models import HookCall, Mail, Notice, PhoneEntry, Plan, PlanRun, PlanState, RunState, Stint
from shared import clock
from shared.models import AccessToken, ApiAnswer, Contractor, OutgoingState, Session
from shared.queued import queued
from shared.tenancy.context import acting_for, working_at

OVER: Final = (JobState.FINISHED, JobState.CALLED_OFF)
DONE: Final = (OutgoingState.SENT, OutgoingState.FAILED, OutgoingState.SKIPPED)
AT_ONCE: Final = 2000  # rows of one kind and firm in one night, so that no transaction is long


@dataclass(frozen=True)
class Kept:
    """One kind of rows: how many days it is kept by default, and which rows are older than a moment."""

    name: str
    days: int
    what: str
    older: Callable[[dt.datetime], QuerySet[Any]]

    @property
    def days_in_force(self) -> int:
        return int(settings.RETENTION_DAYS.get(self.name, self.days))


def _links(before: dt.datetime) -> QuerySet[Any]:
    return AccessToken.objects.filter(Q(revoked_at__lt=before) | Q(expires_at__lt=before))


def _notices(before: dt.datetime) -> QuerySet[Any]:
    """Of jobs that are over, or of no job; an open job may still need the key, so that nothing is told twice."""
    old = Notice.objects.filter(made_at__lt=before, void_after__lt=before).exclude(state="waiting")
    return old.filter(Q(job=None) | Q(job__state__in=OVER))


def _mails(before: dt.datetime) -> QuerySet[Any]:
    needed = Exists(Notice.objects.filter(mail=OuterRef("pk")))
    return Mail.objects.filter(state__in=DONE, made_at__lt=before).exclude(needed)


def _plans(before: dt.datetime) -> QuerySet[Any]:
    """Neither in force nor with a stint that is still looked at."""
    needed = Exists(Stint.objects.filter(plan=OuterRef("pk")))
    return Plan.objects.filter(created_at__lt=before).exclude(state=PlanState.ISSUED).exclude(needed)


def _runs(before: dt.datetime) -> QuerySet[Any]:
    return PlanRun.objects.filter(asked_at__lt=before).exclude(state__in=(RunState.WAITING, RunState.RUNNING))


def _entries(before: dt.datetime) -> QuerySet[Any]:
    """What phones sent, as they sent it; what was logged by it stays with the job."""
    return PhoneEntry.objects.filter(taken_at__lt=before).exclude(outcome="set_aside", job__state__in=_open())


def _open() -> list[str]:
    return [state for state in JobState.values if state not in OVER]


# In an order in which what points at a row goes before the row.
TABLE: Final = (
    Kept("api_answers", 1, "answers kept for programs that ask twice",
         lambda b: ApiAnswer.objects.filter(created_at__lt=b)),
    Kept("links", 90, "links, invitations and API tokens that were ended or have run out", _links),
    Kept("hook_calls", 90, "calls to other systems, with what they answered",
         lambda b: HookCall.objects.filter(state__in=DONE, made_at__lt=b)),
    Kept("phone_entries", 180, "entries as phones sent them (a phone refuses to send after 60 days)", _entries),
    Kept("notices", 400, "notices of jobs that are over", _notices),
    Kept("mails", 400, "mails as they were sent", _mails),
    Kept("plan_runs", 400, "searches for a plan", _runs),
    Kept("plans", 400, "plans that are past and proposals without a stint", _plans),
)  # fmt: skip
SESSIONS: Final = "log-ins, when they are over"


def contractor_sweep(contractor: Contractor, *, now: dt.datetime) -> dict[str, int]:
    """Delete what is older than its time; returns how many rows of each kind went."""
    found = {}
    with acting_for(contractor.pk):
        for kept in TABLE:
            old = kept.older(now - dt.timedelta(days=kept.days_in_force)).order_by("pk").values_list("pk", flat=True)
            model = kept.older(now).model
            pks = list(old[:AT_ONCE])
            found[kept.name] = model._default_manager.filter(pk__in=pks).delete()[0] if pks else 0
    return found


def sessions_sweep() -> int:
    """Log-ins that are over, of anybody; the database shows this work no others."""
    with working_at("retention"):
        return int(Session.objects.all().delete()[0])


def sweep() -> Iterator[tuple[str, int]]:
    """(kind, rows) over all firms of this database, one transaction a firm."""
    total: dict[str, int] = {kept.name: 0 for kept in TABLE}
    for contractor in Contractor.objects.order_by("pk"):
        for name, count in contractor_sweep(contractor, now=clock.now()).items():
            total[name] += count
    yield from total.items()
    yield "sessions", sessions_sweep()
    with connection.cursor() as cursor:  # of releases before, whose table nothing writes any more
        cursor.execute("DELETE FROM django_session WHERE expire_date < now()")
        yield "sessions of before", cursor.rowcount


@queued(name="resurf.retention", on_queue="default", expires=6 * 3600)
def retention_task() -> None:
    for _kind, _rows in sweep():
        pass
