"""The erasure itself, in one transaction: rows, words, places, and the values of the trail."""

from __future__ import annotations

import json
from typing import Any, Final

from django.db import connection

from jobs.models import Pool, PoolOwner
from resurf.erasure.extent import Extent, erasure_extent, refuse_open_jobs
from resurf.erasure.rows import rows_erase, sites_erase
from resurf.erasure.words import words_erase
from shared import clock
from shared.ids import uuid7
from shared.models import Contractor, Membership
from shared.origin import origin
from shared.tenancy.context import acting_for

__all__ = ["Extent", "erasure_extent", "pool_owner_erase"]

# Values of the trail that are about the work; every other value in entries about these rows is blanked.
KEPT_VALUES: Final = (
    "state", "stage", "kind", "purpose", "generation", "promised_date", "earliest_date", "finish", "start_up_method",
    "method", "version", "number", "weight", "dry", "alarm", "size", "sha256", "kept",
)  # fmt: skip
# Who the pool owner is in the trail: from where they did something is theirs, and goes.
THEMSELVES: Final = ("pool owner", "the receiver, by the link in a mail")


def pool_owner_erase(contractor: Contractor, pool_owner: PoolOwner, *, by: Membership | str) -> dict[str, int]:
    """Erase name, address, contact, notes, mails and photos of a pool owner whose jobs are all over.

    Raises
    ------
    ValidationError
        While a job of the pool owner is open: the work needs to know whom to call.
    """
    with acting_for(contractor.pk):
        extent = erasure_extent(pool_owner)
        refuse_open_jobs(extent)
        words, pools = extent.words, [str(pk) for pk in _pools(extent)]
        changed = rows_erase(extent, by)
        subjects = extent.subjects()
        changed["sites"] = sites_erase(extent)
        changed["other texts"] = words_erase(words)
        changed["trail"] = _trail(extent, subjects, pools, by, changed)
    return changed


def _pools(extent: Extent) -> Any:
    return Pool.objects.filter(site__in=extent.sites).values_list("pk", flat=True)


def _trail(extent: Extent, subjects: list[Any], pools: list[str], by: Membership | str, changed: dict[str, int]) -> int:
    """One function of the database blanks values, and writes down that it did: the service itself may change none."""
    who = by if isinstance(by, str) else f"{by.person.name} ({by.role})"
    counts = json.dumps({name: count for name, count in changed.items() if count})
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT resurf_trail_blank(%s, %s, %s, %s, %s, %s, %s, %s, %s, %s)",
            [
                uuid7(), clock.now(), who[:160], origin()[:64], extent.pool_owner.pk, counts,
                subjects, pools, list(KEPT_VALUES), list(THEMSELVES),
            ],
        )  # fmt: skip
        return int(cursor.fetchone()[0])
