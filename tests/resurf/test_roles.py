"""The service's role owns nothing, passes no row policy by and changes no table."""

from __future__ import annotations

import pytest
from django.db import ProgrammingError, connection

pytestmark = pytest.mark.django_db


def one(query: str) -> tuple[object, ...]:
    with connection.cursor() as cursor:
        cursor.execute(query)
        row: tuple[object, ...] = cursor.fetchone()
    return row


def test_tests_run_as_the_role_of_the_service() -> None:
    assert one("SELECT current_user, session_user") == ("resurf_app", "resurf_app")


def test_the_role_has_no_special_right() -> None:
    query = "SELECT rolsuper, rolbypassrls, rolcreaterole, rolcreatedb FROM pg_roles WHERE rolname = current_user"
    assert one(query) == (False, False, False, False)
    assert one("SELECT count(*) FROM pg_auth_members WHERE member = current_user::regrole") == (0,)


def test_the_role_owns_nothing() -> None:
    assert one("SELECT count(*) FROM pg_class WHERE relowner = current_user::regrole") == (0,)
    assert one("SELECT pg_get_userbyid(datdba) FROM pg_database WHERE datname = current_database()") == (
        "resurf_owner",
    )
    assert one("SELECT count(*) > 0 FROM pg_tables WHERE tableowner = 'resurf_owner'") == (True,)


@pytest.mark.parametrize(
    "statement",
    [
        "CREATE TABLE fence (id int)",
        "TRUNCATE django_session",
        "ALTER TABLE django_session ADD COLUMN note text",
        "DROP TABLE django_session",
        "SET ROLE resurf_owner",
        "ALTER ROLE resurf_app BYPASSRLS",
    ],
)
def test_the_role_may_not(statement: str) -> None:
    with pytest.raises(ProgrammingError), connection.cursor() as cursor:
        cursor.execute(statement)


def test_the_role_reads_and_writes_rows() -> None:
    with connection.cursor() as cursor:
        cursor.execute("INSERT INTO django_session VALUES ('k', 'v', now())")
        cursor.execute("UPDATE django_session SET session_data = 'w'")
        cursor.execute("DELETE FROM django_session")
        assert cursor.rowcount == 1
