"""Which migrations may run while the service does: old and new code work on the same tables, nobody waits.

A table that was there before the migration may get a column that needs no rewrite, an index that is built beside
the work, a constraint that is not checked at once. Everything else names its reason in `AGREED`.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

from django.contrib.postgres.operations import AddConstraintNotValid, AddIndexConcurrently, ValidateConstraint
from django.db import migrations, models
from django.db.models.fields import NOT_PROVIDED

from shared.tenancy.constraints import RowsOfContractor, SameContractor

AGREED: Final[dict[str, str]] = {
    "jobs.0002_weather_sources": "made before the first release",
    "shared.0002_fences": "the first fences, made before there were rows",
    "shared.0003_api_and_second_factor": "RunSQL fences a table of the same migration",
    "shared.0007_sessions_and_keys": "RunSQL fences a new table, and a queue whose rows wait for the new worker",
    "shared.0008_trail_blank": "RunSQL makes a function that the old code does not know",
}
NO_REWRITE: Final = (models.CharField, models.TextField)  # a longer text needs no rewrite


def harms(migration: migrations.Migration) -> Iterator[str]:
    """What would lock or rewrite a table in use, or break the code that still runs; one sentence each."""
    if f"{migration.app_label}.{migration.name}" in AGREED:
        return
    new = {op.name_lower for op in migration.operations if isinstance(op, migrations.CreateModel)}
    for operation in migration.operations:
        table = str(getattr(operation, "model_name", getattr(operation, "name", ""))).lower()
        if table in new:
            continue
        said = _harm(operation)
        if said:
            yield f"{migration.app_label}.{migration.name}: {operation.describe()}: {said}"


def _harm(operation: Any) -> str:
    match operation:
        case migrations.CreateModel() | AddIndexConcurrently() | AddConstraintNotValid() | ValidateConstraint():
            return ""
        case migrations.AddField(field=field):
            return _new_column(field)
        case migrations.AlterField(field=field):
            return _other_column(field)
        case migrations.AddIndex():
            return "an index is built with AddIndexConcurrently, in a migration with atomic = False"
        case migrations.AddConstraint(constraint=RowsOfContractor() | SameContractor()):
            return ""
        case migrations.AddConstraint():
            return "a constraint is added with AddConstraintNotValid and checked by ValidateConstraint afterwards"
        case migrations.RenameModel() | migrations.RenameField() | migrations.AlterModelTable():
            return "code that still runs knows the old name: add, copy, and remove in a later release"
        case migrations.DeleteModel() | migrations.RemoveField():
            return "code that still runs reads it: stop using it first, remove it in a later release and say so here"
        case migrations.RunSQL() | migrations.RunPython() | migrations.SeparateDatabaseAndState():
            return "what it does cannot be read here: give the reason in AGREED"
        case _:
            return ""


def _new_column(field: Any) -> str:
    if field.unique or (getattr(field, "db_index", False) and not isinstance(field, models.ForeignKey)):
        return "a unique or indexed column builds its index under a lock: add it plain, then the index concurrently"
    if isinstance(field, models.ForeignKey) and getattr(field, "db_constraint", True) and not field.null:
        return "a key that is needed is checked for every row: add it without, then the constraint"
    if field.null or field.db_default is not NOT_PROVIDED or isinstance(field, models.ManyToManyField):
        return ""
    return "a column that is needed has db_default, so that rows of the code that still runs get a value"


def _other_column(field: Any) -> str:
    """Words and choices may change; the type may not, except to a longer text or to null."""
    if isinstance(field, NO_REWRITE) or field.null:
        return ""
    return "the column may be rewritten: add another one, copy, and switch in a later release"
