"""Who is asking, and for which contractor: the scope in which tenant rows exist at all.

The database holds the same two facts as transaction-local settings, and its row policies read them:
``resurf.contractor`` and ``resurf.person``. Outside :func:`acting_for` a tenant query raises in Python and
finds nothing in PostgreSQL.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Final

from django.db import connection, transaction

CONTRACTOR: Final = "resurf.contractor"
PERSON: Final = "resurf.person"
WORK: Final = "resurf.work"

_contractor: ContextVar[uuid.UUID | None] = ContextVar("contractor", default=None)


class NoContractorActive(RuntimeError):
    """A tenant table was asked outside `acting_for`."""


def current_contractor_id() -> uuid.UUID:
    """The contractor acted for; raises `NoContractorActive` where there is none."""
    found = _contractor.get()
    if found is None:
        raise NoContractorActive("No contractor is active: open acting_for(contractor_id) first.")
    return found


def contractor_id_or_none() -> uuid.UUID | None:
    return _contractor.get()


@contextmanager
def acting_for(contractor_id: uuid.UUID) -> Iterator[None]:
    """Open a transaction in which this contractor's rows, and no others, can be seen and written."""
    with _setting(CONTRACTOR, contractor_id):
        token = _contractor.set(contractor_id)
        try:
            yield
        finally:
            _contractor.reset(token)


@contextmanager
def acting_as(person_id: uuid.UUID) -> Iterator[None]:
    """Open a transaction in which this person's own row and memberships can be seen."""
    with _setting(PERSON, person_id):
        yield


@contextmanager
def working_at(what: str) -> Iterator[None]:
    """Open a transaction in which the rows of one work of the service itself can be seen (`resurf.work`)."""
    with _setting(WORK, what):
        yield


@contextmanager
def _setting(name: str, value: uuid.UUID | str) -> Iterator[None]:
    with transaction.atomic():
        before = _read(name)
        _write(name, str(value))
        yield
        # Releasing a savepoint keeps SET LOCAL, so the value before is put back by hand; a rollback restores it.
        if not connection.needs_rollback:
            _write(name, before)


def _read(name: str) -> str:
    with connection.cursor() as cursor:
        cursor.execute("SELECT COALESCE(current_setting(%s, true), '')", [name])
        return str(cursor.fetchone()[0])


def _write(name: str, value: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT set_config(%s, %s, true)", [name, value])
