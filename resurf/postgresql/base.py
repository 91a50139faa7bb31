"""The connection runs as the app role; `as_owner` lends it the owner role for what only the owner may do."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.core.exceptions import ImproperlyConfigured
from django.db.backends.postgresql import base, operations
from django.db.transaction import TransactionManagementError

from resurf.postgresql.creation import DatabaseCreation


class DatabaseOperations(operations.DatabaseOperations):
    connection: DatabaseWrapper

    def execute_sql_flush(self, sql_list: Any) -> None:
        """Only the owner may TRUNCATE."""
        with self.connection.as_owner():
            super().execute_sql_flush(sql_list)


class DatabaseWrapper(base.DatabaseWrapper):
    creation_class = DatabaseCreation
    ops_class = DatabaseOperations

    @contextmanager
    def as_owner(self) -> Iterator[None]:
        """Reconnect as the owner role (DATABASE_OWNER_URL), and as the app role again afterwards."""
        app = self.settings_dict
        if app.get("IS_OWNER"):
            yield
            return
        if not app.get("OWNER"):
            raise ImproperlyConfigured(
                "DATABASE_OWNER_URL is not set: migrations run as the role that owns the schema."
            )
        if self.in_atomic_block:
            raise TransactionManagementError("The owner role cannot be taken on inside a transaction.")
        self.close()
        # A copy: other threads go on making connections as the app role.
        self.settings_dict = {**app, **app["OWNER"], "IS_OWNER": True}
        try:
            yield
        finally:
            self.close()
            app["NAME"] = self.settings_dict["NAME"]  # Making a test database changes it on the way.
            self.settings_dict = app
