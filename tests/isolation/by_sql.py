"""Bare SQL as the role of the service: what the database itself refuses, whatever the program above it does."""

from __future__ import annotations

from typing import Any, Final

from django.apps import apps
from django.db import Error, connection, transaction

from shared.tenancy.context import acting_for
from shared.tenancy.models import TenantForeignKey, TenantModel
from tests.isolation.world import TwoFirms, tenant_tables


def _rows(statement: str, *arguments: Any) -> list[tuple[Any, ...]] | str:
    """What it gives; the error in words where it is refused."""
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement, arguments)
            return cursor.fetchall() if cursor.description else [(cursor.rowcount,)]
    except Error as refused:
        return str(refused)


def _changed(statement: str, *arguments: Any) -> bool:
    found = _rows(statement, *arguments)
    return not isinstance(found, str) and found[0][0] > 0


OF_NO_FIRM: Final = ("shared_person", "shared_secondfactor", "shared_session", "shared_passwordmail")


def without_a_firm(world: TwoFirms, report: Any) -> None:
    for table in (*tenant_tables(), *OF_NO_FIRM):
        report.tried("SQL without a firm", f"{table} is read" if _rows(f'SELECT 1 FROM "{table}"') else "")
        for statement in (f'UPDATE "{table}" SET id = id', f'DELETE FROM "{table}"'):
            report.tried("SQL without a firm", f"{statement} took" if _changed(statement) else "")
        report.tried("SQL without a firm", f"{table} emptied" if _changed(f'TRUNCATE "{table}" CASCADE') else "")


def as_the_other_firm(world: TwoFirms, report: Any) -> None:
    own = str(world.cast.own.contractor.pk)
    before = world.our_rows()
    with transaction.atomic():
        with acting_for(world.cast.other.contractor.pk):
            for table in tenant_tables():
                for pk in world.our_ids[table]:
                    for statement in (
                        f'SELECT 1 FROM "{table}" WHERE id = %s',
                        f'SELECT 1 FROM "{table}" WHERE id = %s FOR UPDATE',
                    ):
                        report.tried(
                            "SQL as the other firm", f"{table} is read" if _rows(statement, pk) == [(1,)] else ""
                        )
                    for statement in (
                        f'UPDATE "{table}" SET id = id WHERE id = %s',
                        f'DELETE FROM "{table}" WHERE id = %s',
                    ):
                        report.tried("SQL as the other firm", f"{statement} took" if _changed(statement, pk) else "")
                found = _rows(f'SELECT count(*) FROM "{table}" WHERE contractor_id = %s', own)
                report.tried("SQL as the other firm", "" if found == [(0,)] else f"{table}: {found}")
                moved = _changed(f'UPDATE "{table}" SET contractor_id = %s', own)
                report.tried("SQL as the other firm", f"a row of {table} was moved to us" if moved else "")
        transaction.set_rollback(True)
    if world.our_rows() != before:
        report.tried("SQL as the other firm", "a row of ours changed")


def keys_across_firms(world: TwoFirms, report: Any) -> None:
    """No key of a neighbour's row may be set to a row of ours, though a plain key would be checked past the policy."""
    for model in apps.get_models():
        if not issubclass(model, TenantModel):
            continue
        for field in model._meta.local_fields:
            if not isinstance(field, TenantForeignKey):
                continue
            for theirs in world.our_ids[field.related_model._meta.db_table][:1]:
                with acting_for(world.cast.other.contractor.pk):
                    said = _pointed(model._meta.db_table, field.column, theirs)
                report.tried("keys across firms", f"{model._meta.db_table}.{field.column} took our row" if said else "")


def _pointed(table: str, column: str, theirs: str) -> bool:
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(f'UPDATE "{table}" SET "{column}" = %s', [theirs])
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            taken = cursor.rowcount != 0
            cursor.execute(f'SELECT count(*) FROM "{table}"')
            return taken and cursor.fetchone()[0] > 0
    except Error:
        return False


OUT: Final = (
    "SET ROLE resurf_owner",
    "SET SESSION AUTHORIZATION resurf_owner",
    "SET ROLE resurf_resolver",
    "ALTER TABLE jobs_job DISABLE ROW LEVEL SECURITY",
    "ALTER TABLE jobs_job NO FORCE ROW LEVEL SECURITY",
    "DROP POLICY jobs_job_rows ON jobs_job",
    "CREATE POLICY open_to_all ON jobs_job USING (true)",
    "ALTER ROLE resurf_app BYPASSRLS",
    "CREATE ROLE intruder LOGIN",
    "CREATE TABLE copied AS SELECT 1",
    "CREATE FUNCTION peek() RETURNS int LANGUAGE sql SECURITY DEFINER AS 'SELECT 1'",
    "CREATE VIEW peek AS SELECT * FROM jobs_job",
    "CREATE EXTENSION dblink",
    "COPY jobs_job TO PROGRAM 'cat'",
    "COPY jobs_job TO '/var/lib/copied'",
    "SELECT pg_read_file('/etc/passwd')",
    "SELECT lo_import('/etc/passwd')",
    "SELECT * FROM pg_authid",
    "UPDATE shared_auditentry SET who = 'nobody'",
    "DELETE FROM shared_auditentry",
)


def out_of_the_role(world: TwoFirms, report: Any) -> None:
    """The role cannot become another, lift a policy, make an object, read a file, or change the trail."""
    for statement in OUT:
        with transaction.atomic():
            said = _rows(statement)
            transaction.set_rollback(True)
        if not isinstance(said, str):
            report.tried("out of the role", f"{statement} was allowed")
        else:
            report.tried("out of the role")
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL row_security = off")
        for table in tenant_tables():
            report.tried(
                "out of the role", "" if isinstance(_rows(f'SELECT 1 FROM "{table}"'), str) else f"{table} read"
            )
        transaction.set_rollback(True)
    for table in ("jobs_poolowner", "shared_person", "jobs_site"):
        found = _rows("SELECT 1 FROM pg_stats WHERE tablename = %s AND most_common_vals IS NOT NULL", table)
        report.tried("out of the role", f"pg_stats shows values of {table}" if found else "")
    found = _rows(
        "SELECT proname FROM pg_proc WHERE prosecdef AND pronamespace = 'public'::regnamespace"
        " AND has_function_privilege(current_user, oid, 'EXECUTE') ORDER BY 1"
    )
    names = [row[0] for row in found] if not isinstance(found, str) else [found]
    known = ["resurf_person_by_email", "resurf_token", "resurf_trail_blank"]
    report.tried("out of the role", "" if names == known else f"functions past the policies: {names}")
