"""Test databases are made, copied and dropped by the owner role; tests then run as the app role."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from django.db.backends.postgresql import creation

if TYPE_CHECKING:
    from resurf.postgresql.base import DatabaseWrapper


class DatabaseCreation(creation.DatabaseCreation):
    connection: DatabaseWrapper

    @contextmanager
    def _nodb_cursor(self) -> Iterator[Any]:
        with self.connection.as_owner(), super()._nodb_cursor() as cursor:  # type: ignore[misc]  # not in the stubs
            yield cursor
