"""Row security and composite foreign keys, written as constraints so that migrations carry them.

A plain foreign key is checked past row security, so one firm's row could point at another's. `SameContractor`
is the key ``(contractor_id, x_id) -> x (contractor_id, id)``; `RowsOfContractor` enables and forces the policy.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db import models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.backends.ddl_references import Statement

OF_CONTRACTOR = "contractor_id = (SELECT NULLIF(current_setting('resurf.contractor', true), '')::uuid)"


class _SqlConstraint(models.BaseConstraint):
    """A constraint made at the end of its migration, since it names other tables or is no table constraint."""

    # The stubs know texts only; Django takes a statement, and nothing for a constraint made later.
    def constraint_sql(self, model: type[models.Model], schema_editor: BaseDatabaseSchemaEditor) -> None:  # type: ignore[override]  # text, where the base has statements
        self.create_sql(model, schema_editor)

    def create_sql(self, model: type[models.Model], schema_editor: BaseDatabaseSchemaEditor) -> None:  # type: ignore[override]  # text, where the base has statements
        schema_editor.deferred_sql.append(self.statement(model, schema_editor))

    def statement(self, model: type[models.Model], schema_editor: BaseDatabaseSchemaEditor) -> Statement:
        raise NotImplementedError

    def validate(self, model: Any, instance: Any, exclude: Any = None, using: str = "default") -> None:
        """Checked by the database alone."""


class RowsOfContractor(_SqlConstraint):
    """Row-level security: a row is seen and written only while its contractor is active."""

    def statement(self, model: type[models.Model], schema_editor: BaseDatabaseSchemaEditor) -> Statement:
        table = schema_editor.quote_name(model._meta.db_table)
        return _statement(
            f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY; ALTER TABLE {table} FORCE ROW LEVEL SECURITY; "
            f"CREATE POLICY {schema_editor.quote_name(self.name)} ON {table} "
            f"USING ({OF_CONTRACTOR}) WITH CHECK ({OF_CONTRACTOR})"
        )

    def remove_sql(  # type: ignore[override]  # text, where the base has statements
        self, model: type[models.Model], schema_editor: BaseDatabaseSchemaEditor
    ) -> Statement:
        table = schema_editor.quote_name(model._meta.db_table)
        return _statement(f"DROP POLICY {schema_editor.quote_name(self.name)} ON {table}")

    def __eq__(self, other: object) -> bool:
        return isinstance(other, RowsOfContractor) and self.name == other.name

    __hash__ = None  # type: ignore[assignment]  # as Django's own constraints: compared, never hashed


class SameContractor(_SqlConstraint):
    """Composite foreign key: the row pointed at belongs to the same contractor."""

    def __init__(self, *, field: str, name: str) -> None:
        super().__init__(name=name)
        self.field = field

    def statement(self, model: type[models.Model], schema_editor: BaseDatabaseSchemaEditor) -> Statement:
        quote = schema_editor.quote_name
        field = model._meta.get_field(self.field)
        assert isinstance(field, models.ForeignKey)
        target = field.related_model._meta.db_table
        return _statement(
            f"ALTER TABLE {quote(model._meta.db_table)} ADD CONSTRAINT {quote(self.name)} "
            f"FOREIGN KEY (contractor_id, {quote(field.column)}) "
            f"REFERENCES {quote(target)} (contractor_id, id) DEFERRABLE INITIALLY DEFERRED"
        )

    def remove_sql(  # type: ignore[override]  # text, where the base has statements
        self, model: type[models.Model], schema_editor: BaseDatabaseSchemaEditor
    ) -> Statement:
        quote = schema_editor.quote_name
        return _statement(f"ALTER TABLE {quote(model._meta.db_table)} DROP CONSTRAINT {quote(self.name)}")

    def deconstruct(self) -> tuple[str, Sequence[Any], dict[str, Any]]:
        path, args, kwargs = super().deconstruct()
        return path, args, {**kwargs, "field": self.field}

    def __eq__(self, other: object) -> bool:
        return isinstance(other, SameContractor) and (self.name, self.field) == (other.name, other.field)

    __hash__ = None  # type: ignore[assignment]  # as Django's own constraints: compared, never hashed


def _statement(sql: str) -> Statement:
    return Statement(sql)
