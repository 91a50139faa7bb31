from __future__ import annotations

import inspect
from itertools import product
from typing import Any, Final
from unittest import mock

from celery import current_app
from django.core.exceptions import ObjectDoesNotExist, ValidationError
from django.db import transaction

from shared.ids import uuid7
from tests.isolation.world import TwoFirms

OURS: Final = ("scheduling.", "jobs.", "shared.", "resurf.")
WIDE: Final = ("contractor_id",)
REFUSED: Final = (ObjectDoesNotExist, ValidationError, ValueError, TypeError)


def every_task_with_foreign_ids(world: TwoFirms, report: Any) -> None:
    """Every task that takes ids, run for the neighbour with each id of ours: none of our rows may change."""
    current_app.loader.import_default_modules()
    other = str(world.cast.other.contractor.pk)
    rows = [ids[0] for ids in world.our_ids.values() if ids]
    before = world.our_rows()
    taken = 0
    for name, task in sorted(current_app.tasks.items()):
        words = list(inspect.signature(task.run).parameters)
        if not name.startswith(OURS) or not words:
            continue
        taken += 1
        choices = [[other, str(uuid7())] if word in WIDE else [*rows, str(uuid7())] for word in words]
        for arguments in list(product(*choices))[:200]:
            if words == ["contractor_id"] and arguments[0] == other:
                continue  # its own work, which other tests watch; our rows are looked at below all the same
            with transaction.atomic(), mock.patch("scheduling.services.run_search.search", side_effect=AssertionError):
                try:
                    with transaction.atomic():
                        task.run(*arguments)
                except REFUSED:
                    pass  # refused: no such row here
                if world.our_rows() != before:
                    report.tried("tasks", f"{name}{arguments} changed a row of ours")
                transaction.set_rollback(True)
            report.tried("tasks")
    if taken < 3:
        report.tried("tasks", f"only {taken} tasks take ids: the registry was not read")
