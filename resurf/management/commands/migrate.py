"""`migrate` as the owner role: the service's own role owns nothing and may create nothing."""

from __future__ import annotations

from typing import Any

from django.core.management.commands import migrate
from django.db import connections
from psycopg.sql import SQL, Identifier

from resurf.postgresql.base import DatabaseWrapper

# New tables become usable by the service at once; the row policies of their migration limit the rows.
DEFAULT_PRIVILEGES = (
    "ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT SELECT, INSERT, UPDATE, DELETE ON TABLES TO {app}",
    "ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT USAGE ON SEQUENCES TO {app}",
)


class Command(migrate.Command):
    def handle(self, *args: Any, **options: Any) -> None:
        connection = connections[options["database"]]
        assert isinstance(connection, DatabaseWrapper)
        app = Identifier(connection.settings_dict["USER"])
        with connection.as_owner():
            if not (options["plan"] or options["check_unapplied"]):
                with connection.cursor() as cursor:
                    for statement in DEFAULT_PRIVILEGES:
                        cursor.execute(SQL(statement).format(app=app))
            super().handle(*args, **options)
