"""A backup by pg_dump and its restoration, on the embedded engine, as the handbook of upkeep says."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.db import connection

from resurf.embedded import binaries
from resurf.postgresql import roles
from tests.isolation.world import tenant_tables, two_firms


def address(user: str, database: str) -> str:
    """The tests' own server, as this role."""
    facts: dict[str, Any] = connection.settings_dict
    return f"host={facts['HOST']} port={facts['PORT'] or 5432} user={user} dbname={database}"


def superuser() -> str:
    with psycopg.connect(address(roles.APP, connection.settings_dict["NAME"])) as asked:
        found = asked.execute("SELECT rolname FROM pg_roles WHERE rolsuper ORDER BY oid LIMIT 1").fetchone()
    assert found
    return str(found[0])


def run(program: str, *arguments: str) -> None:
    bin_folder = binaries.postgres_install() / "bin"
    environment = {**os.environ, "PGPASSWORD": ""}
    done = subprocess.run(
        [bin_folder / program, *arguments], capture_output=True, text=True, env=environment, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr


def marks(where: str) -> dict[str, tuple[int, str]]:
    """Rows of every table of the service: how many, and their fingerprint."""
    found = {}
    with psycopg.connect(where) as asked:
        names = asked.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public' ORDER BY 1").fetchall()
        for (table,) in names:
            row = asked.execute(
                "SELECT count(*), md5(COALESCE(string_agg(md5(t::text), '' ORDER BY md5(t::text)), ''))"
                f' FROM "{table}" t'
            ).fetchone()
            assert row
            found[table] = (row[0], row[1])
    return found


@pytest.mark.django_db(transaction=True)
def test_a_dump_that_is_restored_holds_every_row_every_fence_and_no_more_rights(tmp_path: Path):
    world = two_firms()
    name, copy, boss = str(connection.settings_dict["NAME"]), "restored_copy", superuser()
    dump = tmp_path / "resurf.dump"
    run("pg_dump", "--dbname", address(boss, name), "--format=custom", "--file", str(dump))
    assert dump.stat().st_size > 10_000
    before = marks(address(boss, name))
    assert before["jobs_job"][0] == 2
    with psycopg.connect(address(boss, "postgres"), autocommit=True) as root:
        root.execute(f"DROP DATABASE IF EXISTS {copy}")
        root.execute(f"CREATE DATABASE {copy} OWNER {roles.OWNER}")
    try:
        run("pg_restore", "--dbname", address(boss, copy), "--exit-on-error", str(dump))
        assert marks(address(boss, copy)) == before
        _fenced(address(roles.APP, copy), world)
    finally:
        with psycopg.connect(address(boss, "postgres"), autocommit=True) as root:
            root.execute(f"DROP DATABASE {copy} WITH (FORCE)")


def _fenced(where: str, world: Any) -> None:
    """The service's role sees nothing without a firm, one firm's rows with it, and cannot touch the trail."""
    with psycopg.connect(where) as app:
        for table in tenant_tables():
            assert app.execute(f'SELECT count(*) FROM "{table}"').fetchone() == (0,), table
        app.execute("SELECT set_config('resurf.contractor', %s, true)", [str(world.cast.own.contractor.pk)])
        row = app.execute("SELECT count(*), count(DISTINCT contractor_id) FROM jobs_job").fetchone()
        assert row == (1, 1)
        with pytest.raises(psycopg.errors.InsufficientPrivilege):
            app.execute("DELETE FROM shared_auditentry")


@pytest.mark.django_db(transaction=True)
def test_a_dump_as_the_services_own_role_is_refused_not_empty(tmp_path: Path):
    """Row policies would leave out every row: pg_dump stops rather than write a backup of nothing."""
    two_firms()
    program = binaries.postgres_install() / "bin" / "pg_dump"
    where = address(roles.APP, str(connection.settings_dict["NAME"]))
    done = subprocess.run(
        [program, "--dbname", where, "--data-only", "--table=jobs_job"],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode != 0
    assert "row-level security" in done.stderr
