"""Everything that one firm owns, in one file: written, read back, removed.

A zip archive: `firm.json` with every row of every table of the firm as the database itself writes it, and the files
of its photos. Written under the firm's own row policies, so that it can hold nothing of a neighbour. Passwords and
second factors are not in it: people are found again by their e-mail address, or set a new password.
"""

from __future__ import annotations

import json
import uuid
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO, Final

from django.apps import apps
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import DEFAULT_DB_ALIAS, connection, connections, transaction

from resurf.postgresql.base import DatabaseWrapper
from scheduling.models import Hook
from shared import clock
from shared.backend import person_id_of
from shared.keys import installation_keys, key_mark, present_mark
from shared.models import AccessToken, ApiAnswer, Contractor, Person, TokenKind, token_hash
from shared.tenancy.context import acting_as, acting_for
from shared.tenancy.models import TenantModel

FORMAT: Final = "resurf-firm/1"
ROWS: Final = "firm.json"
FILES: Final = "files/"
LEFT_OUT: Final[tuple[type[TenantModel], ...]] = (ApiAnswer,)  # kept for a day, of use to nobody elsewhere
PHOTOS: Final = "jobs_photo"
FILE_FIELDS: Final = ("file", "small_file")
MOST_BYTES: Final = 4 * 1024**3  # of one member of the archive, unpacked


class FirmFileError(ValueError):
    """The file cannot be taken; a sentence for the operator."""


def tables() -> Iterator[type[TenantModel]]:
    """Every table of a firm."""
    for model in apps.get_models():
        if issubclass(model, TenantModel) and model not in LEFT_OUT:
            yield model


def firm_write(contractor: Contractor, to: BinaryIO | Path) -> dict[str, int]:
    """Write the firm's file; returns how many rows of each table it holds."""
    with acting_for(contractor.pk), connection.cursor() as cursor:
        rows = {model._meta.db_table: _rows(model, cursor) for model in tables()}
        people = list(Person.objects.order_by("email").values("id", "email", "name", "language", "is_active"))
        names = [row[field] for row in rows[PHOTOS] for field in FILE_FIELDS]
    facts = {
        "id": contractor.pk,
        "slug": contractor.slug,
        "name": contractor.name,
        "zone": contractor.zone,
        "created_at": contractor.created_at.isoformat(),
    }
    document = {
        "format": FORMAT,
        "made_at": clock.now().isoformat(),
        "contractor": facts,
        "people": people,
        "tables": rows,
    }
    with zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(ROWS, json.dumps(document, default=str, ensure_ascii=False))
        for name in names:
            if default_storage.exists(name):
                with default_storage.open(name) as kept:
                    archive.writestr(FILES + name, kept.read())
    return {table: len(found) for table, found in rows.items()}


def _rows(model: type[TenantModel], cursor: Any) -> list[dict[str, Any]]:
    cursor.execute(f'SELECT to_jsonb(t)::text FROM "{model._meta.db_table}" t ORDER BY id')
    return [json.loads(text) for (text,) in cursor.fetchall()]


@transaction.atomic
def firm_read(source: BinaryIO | Path) -> Contractor:
    """Take a firm's file into this installation, as a whole or not at all; the firm must not be here."""
    try:
        archive = zipfile.ZipFile(source)
        document = json.loads(archive.read(ROWS))
    except (zipfile.BadZipFile, KeyError, ValueError, OSError) as broken:
        raise FirmFileError(f"This is no file of a firm: {broken}.") from broken
    with archive:
        if not isinstance(document, dict) or document.get("format") != FORMAT:
            raise FirmFileError(f"The file's format must be {FORMAT}.")
        facts, rows = document["contractor"], document["tables"]
        known = {model._meta.db_table: model for model in tables()}
        if unknown := sorted(set(rows) - set(known)):
            raise FirmFileError(f"The file holds tables that are not known here: {', '.join(unknown)}.")
        contractor = Contractor(id=uuid.UUID(facts["id"]), slug=facts["slug"], name=facts["name"], zone=facts["zone"])
        if (
            Contractor.objects.filter(pk=contractor.pk).exists()
            or Contractor.objects.filter(slug=contractor.slug).exists()
        ):
            raise FirmFileError(f"The firm {contractor.slug} is on this installation already.")
        contractor.full_clean(validate_unique=False)
        contractor.save(force_insert=True)
        Contractor.objects.filter(pk=contractor.pk).update(created_at=facts["created_at"])
        people = {one["id"]: _person(one) for one in document["people"]}
        with acting_for(contractor.pk), connection.cursor() as cursor:
            for table, model in known.items():
                _insert(model, _of(contractor, rows.get(table, []), people, table), cursor)
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            _secrets_anew()
        _files(archive, contractor)
    return contractor


def _person(one: dict[str, Any]) -> str:
    """The person of this address; one who is new here sets a password by the link for forgotten ones."""
    found = person_id_of(str(one["email"]))
    if found is not None:
        return str(found)
    person = Person(id=uuid.UUID(one["id"]), email=one["email"], name=one["name"], language=one["language"])
    person.set_unusable_password()
    with acting_as(person.pk):
        person.full_clean(exclude=["password"], validate_unique=False)
        person.save(force_insert=True)
    return str(person.pk)


def _of(contractor: Contractor, rows: Any, people: dict[str, str], table: str) -> list[dict[str, Any]]:
    for row in rows:
        if row.get("contractor_id") != str(contractor.pk):
            raise FirmFileError(f"A row of {table} belongs to another firm.")
        if any(not _is_own_file(contractor, str(row[field])) for field in FILE_FIELDS if table == PHOTOS):
            raise FirmFileError(f"A row of {table} names a file of another firm.")
        if "person_id" in row:
            if row["person_id"] not in people:
                raise FirmFileError(f"A row of {table} names a person who is not in the file.")
            row["person_id"] = people[row["person_id"]]
    return list(rows)


def _insert(model: type[TenantModel], rows: list[dict[str, Any]], cursor: Any) -> None:
    """As the service's own role, so that row policies and composite keys hold for whatever the file says."""
    columns = ", ".join(f'"{field.column}"' for field in model._meta.local_fields)
    statement = (
        f'INSERT INTO "{model._meta.db_table}" ({columns}) '
        f'SELECT {columns} FROM jsonb_populate_recordset(NULL::"{model._meta.db_table}", %s::jsonb)'
    )
    for begin in range(0, len(rows), 500):
        cursor.execute(statement, [json.dumps(rows[begin : begin + 500])])


def _secrets_anew() -> None:
    """Secrets of links and hooks follow from this installation's key; on another one they are new."""
    for token in AccessToken.objects.exclude(kind=TokenKind.API):
        if token.token_hash != token_hash(token.secret):
            AccessToken.objects.filter(pk=token.pk).update(token_hash=token_hash(token.secret))
    known = {"", *map(key_mark, installation_keys())}
    Hook.objects.exclude(key_mark__in=known).update(key_mark=present_mark())


def _files(archive: zipfile.ZipFile, contractor: Contractor) -> None:
    """Photos go back under the firm's own folder and nowhere else."""
    for member in archive.infolist():
        name = member.filename.removeprefix(FILES)
        if member.filename == ROWS:
            continue
        if not member.filename.startswith(FILES) or not _is_own_file(contractor, name):
            raise FirmFileError(f"The file holds “{member.filename}”, which belongs nowhere.")
        if member.file_size > MOST_BYTES:
            raise FirmFileError(f"“{member.filename}” is larger than {MOST_BYTES} bytes.")
        if not default_storage.exists(name):
            default_storage.save(name, ContentFile(archive.read(member)))


def _is_own_file(contractor: Contractor, name: str) -> bool:
    """Whether a photo's file lies in the firm's own folder: no key of the database watches over names of files."""
    folder = f"photos/{contractor.pk}/"
    return name.startswith(folder) and "/" not in name.removeprefix(folder) and ".." not in name


def firm_remove(contractor: Contractor) -> dict[str, int]:
    """Remove a firm with its audit trail and files. As the owner of the tables: the service itself may not."""
    database = connections[DEFAULT_DB_ALIAS]
    assert isinstance(database, DatabaseWrapper)
    removed: dict[str, int] = {}
    with database.as_owner(), acting_for(contractor.pk), connection.cursor() as cursor:
        cursor.execute("SELECT file FROM jobs_photo UNION ALL SELECT small_file FROM jobs_photo")
        names = [name for (name,) in cursor.fetchall()]
        cursor.execute("SET CONSTRAINTS ALL DEFERRED")
        for model in (*tables(), *LEFT_OUT):
            cursor.execute(f'DELETE FROM "{model._meta.db_table}"')
            removed[model._meta.db_table] = cursor.rowcount
        cursor.execute("DELETE FROM shared_contractor WHERE id = %s", [contractor.pk])
    for name in names:
        default_storage.delete(name)
    return removed
