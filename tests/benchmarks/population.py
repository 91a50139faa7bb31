"""Many contractors at once: a few firms are built through the services, then copied row by row under new ids.

Sizes of the copies (open jobs: share of firms) are an assumption without a source: most firms that do this work are
small. Every copy has its own people, sites, jobs, surveys, expected dates, stints, plan, calendar entries and links.
Only the superuser of a throw-away cluster can copy across contractors; the service never can.
"""

from __future__ import annotations

import hashlib
import random
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import psycopg
from psycopg.sql import SQL, Identifier

SHARES: Final[dict[int, float]] = {3: 0.55, 6: 0.30, 12: 0.15}
UUID: Final = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
PEOPLE: Final = "shared_person"
FIRMS: Final = "shared_contractor"
LINKS: Final = "shared_accesstoken"


@dataclass(frozen=True)
class Table:
    """One table's rows of one firm as COPY text."""

    name: str
    columns: tuple[str, ...]
    text: str


@dataclass(frozen=True)
class Template:
    """A whole firm: every row of every table, and the ids that a copy replaces."""

    jobs: int
    contractor: str
    tables: tuple[Table, ...]
    ids: frozenset[str]


def sizes(count: int, seed: int) -> list[int]:
    """Open jobs of `count` firms, in random order but exactly in the stated shares (rounded)."""
    found = [size for size, share in SHARES.items() for _ in range(round(count * share))]
    found = (found + [min(SHARES)] * count)[:count]
    random.Random(seed).shuffle(found)
    return found


def template_of(connection: psycopg.Connection[Any], jobs: int, contractor: str, tenant: Sequence[str]) -> Template:
    """Read one firm out of the database; `tenant` are the names of the tables of firms."""
    members = SQL("id IN (SELECT person_id FROM shared_membership WHERE contractor_id = {})").format(contractor)
    tables = [_read(connection, FIRMS, SQL("id = {}").format(contractor)), _read(connection, PEOPLE, members)]
    tables += [_read(connection, name, SQL("contractor_id = {}").format(contractor)) for name in tenant]
    ids = {line.split("\t")[table.columns.index("id")] for table in tables for line in table.text.splitlines()}
    return Template(jobs, contractor, tuple(tables), frozenset(ids))


def copy_firm(
    connection: psycopg.Connection[Any], template: Template, number: int, hash_of: Callable[[str, int], str]
) -> str:
    """Write the template once more as firm `number`; returns the copy's contractor id."""
    new = {old: _renewed(old, number) for old in template.ids}
    for table in template.tables:
        text = UUID.sub(lambda found: new.get(found[0], found[0]), table.text)
        text = _with_own(table, text, number, hash_of)
        columns = SQL(", ").join(map(Identifier, table.columns))
        statement = SQL("COPY {} ({}) FROM STDIN").format(Identifier(table.name), columns)
        with connection.cursor().copy(statement) as stream:
            stream.write(text)
    return new[template.contractor]


def tenant_tables(connection: psycopg.Connection[Any]) -> list[str]:
    """Every table with a contractor."""
    rows = connection.execute(
        "SELECT table_name FROM information_schema.columns WHERE column_name = 'contractor_id' "
        "AND table_schema = 'public' ORDER BY table_name"
    )
    return [str(name) for (name,) in rows]


def _read(connection: psycopg.Connection[Any], name: str, where: Any) -> Table:
    rows = connection.execute(
        "SELECT column_name FROM information_schema.columns WHERE table_schema = 'public' AND table_name = %s "
        "AND is_generated = 'NEVER' ORDER BY ordinal_position",
        [name],
    )
    columns = tuple(str(column) for (column,) in rows)
    listed = SQL(", ").join(map(Identifier, columns))
    query = SQL("COPY (SELECT {} FROM {} WHERE {}) TO STDOUT").format(listed, Identifier(name), where)
    with connection.cursor().copy(query) as stream:
        text = b"".join(bytes(block) for block in stream).decode()
    return Table(name, columns, text)


def _with_own(table: Table, text: str, number: int, hash_of: Callable[[str, int], str]) -> str:
    """What is unique across firms besides ids: a firm's word, a person's address, the hash of a link."""
    if table.name not in (FIRMS, PEOPLE, LINKS):
        return text
    lines = []
    for line in text.splitlines():
        row = dict(zip(table.columns, line.split("\t"), strict=True))
        if table.name == FIRMS:
            row["slug"] += f"-{number}"
        elif table.name == PEOPLE:
            row["email"] = f"n{number}.{row['email']}"
        else:
            row["token_hash"] = hash_of(row["id"], int(row["generation"]))
        lines.append("\t".join(row.values()))
    return "".join(f"{line}\n" for line in lines)


def _renewed(old: str, number: int) -> str:
    """Another id of the same moment: the time and version of a UUIDv7 stay, the rest is new."""
    rest = hashlib.md5(f"{old} {number}".encode(), usedforsecurity=False).hexdigest()
    return f"{old[:15]}{rest[:3]}-8{rest[3:6]}-{rest[6:18]}"


def analyse(connection: psycopg.Connection[Any], names: Iterable[str]) -> None:
    for name in names:
        connection.execute(SQL("ANALYZE {}").format(Identifier(name)))
