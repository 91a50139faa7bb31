"""The base of every table that belongs to one contractor."""

from __future__ import annotations

import uuid
from typing import Any, ClassVar, Self, TypeVar

from django.db import models
from django.db.models.signals import class_prepared

from shared.ids import uuid7
from shared.tenancy.constraints import RowsOfContractor, SameContractor
from shared.tenancy.context import current_contractor_id

M = TypeVar("M", bound=models.Model)
SetType = TypeVar("SetType")
GetType = TypeVar("GetType")


class TenantManager(models.Manager[M]):
    """Rows of the active contractor; raises `NoContractorActive` where none is."""

    use_in_migrations = False

    def get_queryset(self) -> models.QuerySet[M]:
        return super().get_queryset().filter(contractor_id=current_contractor_id())


class TenantForeignKey(models.ForeignKey[SetType, GetType]):
    """A key to another tenant table; the database checks it together with the contractor."""

    def __init__(self, to: Any, on_delete: Any, **kwargs: Any) -> None:
        kwargs["db_constraint"] = False
        super().__init__(to, on_delete, **kwargs)


class TenantModel(models.Model):
    """A row of one contractor: UUIDv7 key, row security, composite keys (added when the class is prepared)."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    contractor = models.ForeignKey("shared.Contractor", on_delete=models.PROTECT, related_name="+", db_index=False)

    objects: ClassVar[TenantManager[Self]] = TenantManager()

    class Meta:
        abstract = True
        base_manager_name = "objects"
        default_manager_name = "objects"

    def save(self, *args: Any, **kwargs: Any) -> None:
        if self.contractor_id is None:  # new, and nobody said whose it is
            self.contractor_id = current_contractor_id()  # type: ignore[unreachable]  # None before the first save, whatever the stubs say
        super().save(*args, **kwargs)

    contractor_id: uuid.UUID


def _fence(sender: type[models.Model], **_: Any) -> None:
    """Give a concrete tenant table its three constraints, by name, where they are not there yet."""
    if sender.__module__ == "__fake__" or not issubclass(sender, TenantModel) or sender._meta.abstract:
        return
    table = sender._meta.db_table
    wanted: list[models.BaseConstraint] = [
        models.UniqueConstraint(fields=["contractor", "id"], name=_name(table, "own")),
        RowsOfContractor(name=_name(table, "rows")),
    ]
    wanted += [
        SameContractor(field=field.name, name=_name(table, f"{field.name}_same"))
        for field in sender._meta.local_fields
        if isinstance(field, TenantForeignKey)
    ]
    present = {constraint.name for constraint in sender._meta.constraints}
    sender._meta.constraints = [
        *sender._meta.constraints,
        *(constraint for constraint in wanted if constraint.name not in present),
    ]
    sender._meta.original_attrs["constraints"] = sender._meta.constraints


def _name(table: str, what: str) -> str:
    """At most 63 bytes, PostgreSQL's limit of a name."""
    return f"{table}_{what}"[:63]


class_prepared.connect(_fence, dispatch_uid="shared.tenancy.fence")
