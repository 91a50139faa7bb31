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

    def _destroy_test_db(self, test_database_name: str, verbosity: int) -> None:
        """End what is still connected, such as the live server of a page a browser left open, then drop it."""
        with super()._nodb_cursor() as cursor:  # type: ignore[misc]  # not in the stubs; as the app role: its own sessions
            cursor.execute(
                "SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity"
                " WHERE datname = %s AND usename = current_user AND pid <> pg_backend_pid()",
                [test_database_name],
            )
        super()._destroy_test_db(test_database_name, verbosity)  # type: ignore[misc]  # not in the stubs
