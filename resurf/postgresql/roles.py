"""The three database roles, made by a superuser once for a cluster.

resurf_owner     owns the database and its schema and runs migrations; row policies bind it too (FORCE)
resurf_app       runs the service; owns nothing, passes no row policy by, cannot TRUNCATE
resurf_resolver  cannot log in; owns the one function that turns a token into a contractor
"""

from __future__ import annotations

from pathlib import Path

from psycopg import Connection
from psycopg.sql import SQL, Identifier

OWNER = "resurf_owner"
APP = "resurf_app"
RESOLVER = "resurf_resolver"
ROLES_SQL = Path(__file__).parent / "roles.sql"


def create(connection: Connection[tuple[object, ...]], *, tests: bool = False) -> None:
    """Create the roles where they are missing; for tests the owner may create databases."""
    connection.execute(SQL(ROLES_SQL.read_text()))
    if tests:
        connection.execute(SQL("ALTER ROLE {} CREATEDB").format(Identifier(OWNER)))


def create_database(connection: Connection[tuple[object, ...]], name: str) -> None:
    """Create the database of the service, owned by the owner role, closed to all but the service's roles."""
    if connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", [name]).fetchone():
        return
    database = Identifier(name)
    connection.execute(SQL("CREATE DATABASE {} OWNER {}").format(database, Identifier(OWNER)))
    connection.execute(SQL("REVOKE ALL ON DATABASE {} FROM PUBLIC").format(database))
    connection.execute(SQL("GRANT CONNECT ON DATABASE {} TO {}").format(database, Identifier(APP)))
