"""PostgreSQL: reachable, up to date, and the service's role fenced in."""

from __future__ import annotations

from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor

from resurf.checkup.finding import Finding, bad, good, note

VERSION_LEAST = 150000

RIGHTS = """
SELECT rolsuper, rolbypassrls, rolcreaterole, rolcreatedb,
       EXISTS (SELECT FROM pg_auth_members WHERE member = current_user::regrole),
       EXISTS (SELECT FROM pg_shdepend WHERE refobjid = current_user::regrole AND deptype = 'o')
FROM pg_roles WHERE rolname = current_user
"""
RIGHT_NAMES = (
    "is a superuser",
    "passes row policies by",
    "may create roles",
    "may create databases",
    "is a member of another role",
    "owns objects",
)
# Every table of the firms has the column; it must be fenced by a policy that binds its owner too.
UNFENCED = """
SELECT c.relname FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid AND a.attname = 'contractor_id'
WHERE c.relkind IN ('r', 'p') AND c.relnamespace = 'public'::regnamespace AND NOT a.attisdropped
  AND NOT (c.relrowsecurity AND c.relforcerowsecurity AND EXISTS (SELECT FROM pg_policy p WHERE p.polrelid = c.oid))
ORDER BY 1
"""


def database() -> list[Finding]:
    """Stops at the first part without which the others cannot be asked."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT current_setting('server_version'), current_setting('server_version_num')::int")
            version, number = cursor.fetchone()
    except DatabaseError as error:
        return [bad("database", f"No connection: {str(error).splitlines()[0]}.")]
    if number < VERSION_LEAST:
        return [bad("database", f"PostgreSQL {version} answers; 15 or newer is needed.")]
    return [good("database", f"PostgreSQL {version} answers."), role(), owner(), migrations(), fences(), trail()]


def role() -> Finding:
    with connection.cursor() as cursor:
        cursor.execute(RIGHTS)
        rights = cursor.fetchone()
    name = connection.settings_dict["USER"]
    wrong = [words for words, has in zip(RIGHT_NAMES, rights, strict=True) if has]
    if wrong:
        return bad("role", f"The service's role {name} {', '.join(wrong)}: one firm could see another's rows.")
    return good("role", f"The service's role {name} owns nothing and cannot pass row policies by.")


def owner() -> Finding:
    if connection.settings_dict.get("OWNER"):
        return good("owner", f"Migrations run as {connection.settings_dict['OWNER']['USER']}.")
    return note("owner", "DATABASE_OWNER_URL is not set here: migrations have to run where it is.")


def migrations() -> Finding:
    executor = MigrationExecutor(connection)
    missing = executor.migration_plan(executor.loader.graph.leaf_nodes())
    if missing:
        first = missing[0][0]
        return bad("migrations", f"{len(missing)} are missing, from {first} on: run `manage.py migrate`.")
    return good("migrations", "All have run.")


def fences() -> Finding:
    with connection.cursor() as cursor:
        cursor.execute(UNFENCED)
        unfenced = [name for (name,) in cursor.fetchall()]
    if unfenced:
        return bad("fences", f"Tables of the firms without a forced row policy: {', '.join(unfenced)}.")
    return good("fences", "Every table of the firms has a forced row policy.")


def trail() -> Finding:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT right_ FROM unnest(ARRAY['UPDATE', 'DELETE', 'TRUNCATE']) AS right_"
            " WHERE has_table_privilege(current_user, 'shared_auditentry', right_)"
        )
        rights = [right for (right,) in cursor.fetchall()]
    if rights:
        return bad("trail", f"The service's role may {', '.join(rights)} lines of the audit trail.")
    return good("trail", "The service's role adds to the audit trail and can change nothing of it.")
