"""A connection that was in use when something broke, and what whoever gets it next can see. Needs committed rows."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from contextlib import suppress
from typing import Any, Final
from unittest import mock

from django.db import DatabaseError, connection, transaction

from jobs.models import Job
from shared.tenancy.context import acting_for, contractor_id_or_none
from tests.api.caller import Caller, caller_of
from tests.cast import Cast
from tests.test_every_url import new_client


def _statement() -> None:
    """The database refuses a statement: the transaction is aborted."""
    _sql("SELECT no_such_column FROM jobs_job")


def _swallowed() -> None:
    """The refusal is caught and work goes on in the aborted transaction."""
    with suppress(DatabaseError):
        _sql("SELECT no_such_column FROM jobs_job")
    _sql("SELECT 1")


def _key() -> None:
    """A key that points at nothing."""
    Job.objects.update(pool_id=uuid.uuid4())
    _sql("SET CONSTRAINTS ALL IMMEDIATE")


def _code() -> None:
    """A mistake of the program, after a change."""
    Job.objects.update(notes="half done")
    raise ZeroDivisionError


def _late() -> None:
    """The database gives up on a statement that takes too long."""
    _sql("SET LOCAL statement_timeout = 20")
    _sql("SELECT pg_sleep(2)")


def _nested() -> None:
    """A savepoint that was rolled back, then a mistake outside of it."""
    with suppress(DatabaseError), transaction.atomic():
        _sql("SELECT no_such_column FROM jobs_job")
    raise RuntimeError


def _told_to_stop() -> None:
    """The web server ends a worker in the middle of a request."""
    raise SystemExit(1)


BREAKS: Final[tuple[Callable[[], None], ...]] = (_statement, _swallowed, _key, _code, _late, _nested, _told_to_stop)
PLACES: Final = {"screen": "scheduling.views.jobs.jobs_found", "API": "jobs.api.views.jobs_asked"}


def _sql(statement: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement)


def errors_inside_transactions(cast: Cast, report: Any, rounds: int = 3) -> None:
    """Each break, in a screen and in the API, our rows in sight; then the neighbour on the same connection."""
    ours, theirs = new_client(cast.own.office), new_client(cast.other.office)
    our_caller, their_caller = caller_of(cast.own.office), caller_of(cast.other.office)
    our_caller.client.raise_request_exception = False
    notes = _notes(cast)
    for _ in range(rounds):
        for at in BREAKS:
            for place, name in PLACES.items():
                way = f"{place} {at.__name__.strip('_')}"
                backend = connection.connection
                with mock.patch(name, _broken(at)), suppress(SystemExit):
                    answer = ours.get("/jobs/") if place == "screen" else our_caller.get("/jobs")
                    report.tried("broken requests", "" if answer.status_code >= 500 else f"{way}: {answer.status_code}")
                same = connection.connection is None or connection.connection is backend
                report.tried("broken requests", "" if same else f"{way}: the connection was not used again")
                for leak in (*left_behind(way), *_seen(way, theirs.get("/jobs/"), their_caller)):
                    report.tried("broken requests", leak)
    report.tried("broken requests", "" if _notes(cast) == notes else "half of a broken request was kept")


def _broken(at: Callable[[], None]) -> Callable[..., None]:
    def view(*args: object, **kwargs: object) -> None:
        assert Job.objects.exists(), "the firm's own row was in sight before the break"
        at()
        raise AssertionError("it was to break")

    return view


def left_behind(way: str) -> list[str]:
    """One entry a thing that was looked at; empty where it is clean."""
    found = []
    with connection.cursor() as cursor:
        for setting in ("resurf.contractor", "resurf.person"):
            cursor.execute("SELECT COALESCE(current_setting(%s, true), '')", [setting])
            left = cursor.fetchone()[0]
            found.append(f"{way}: {setting} is still {left}" if left else "")
        cursor.execute("SELECT count(*) FROM jobs_job")
        found.append(f"{way}: rows are in sight" if cursor.fetchone()[0] else "")
        cursor.execute("SHOW statement_timeout")
        left = cursor.fetchone()[0]
        found.append(f"{way}: a limit of {left} is left" if left != "0" else "")
    found.append(f"{way}: a firm is still at work" if contractor_id_or_none() else "")
    found.append(f"{way}: a transaction is still open" if connection.in_atomic_block else "")
    return found


def _seen(way: str, page: Any, caller: Caller) -> list[str]:
    """The neighbour's next page and answer."""
    listed = caller.get("/jobs")
    said = page.content.decode() + listed.content.decode()
    codes = (page.status_code, listed.status_code)
    return [
        "" if codes == (200, 200) else f"{way}: the neighbour got {codes}",
        f"{way}: the neighbour sees our job" if "Basin of own" in said else "",
        "" if "Basin of other" in said else f"{way}: the neighbour does not see their own job",
    ]


def _notes(cast: Cast) -> list[str]:
    with acting_for(cast.own.contractor.pk):
        return list(Job.objects.order_by("pk").values_list("notes", flat=True))
