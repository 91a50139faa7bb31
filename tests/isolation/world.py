"""Our firm and its neighbour, with what must never pass from one to the other."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from django.apps import apps
from django.db import connection

from jobs.models import Job, Survey
from shared.tenancy.context import acting_for
from shared.tenancy.models import TenantModel
from tests.cast import Cast, FirmCast, make_cast
from tests.test_every_url import ids_of

WORDS = ("Basin of own", "Pool owner of own", "crew of own", "office of own", "manager of own", "@own.example")
NEVER_COPIED = {"shared_firm", "shared_contractor"}

Ids = dict[str, tuple[str, ...]]


@dataclass
class TwoFirms:
    cast: Cast
    own: Ids
    other: Ids

    @cached_property
    def our_ids(self) -> dict[str, list[str]]:
        """The id of every row of ours, by its table."""
        found = {}
        with acting_for(self.cast.own.contractor.pk), connection.cursor() as cursor:
            for table in tenant_tables():
                cursor.execute(f'SELECT id::text FROM "{table}"')
                found[table] = [row[0] for row in cursor.fetchall()]
        return found

    @cached_property
    def secret_things(self) -> tuple[str, ...]:
        """Words and ids that no answer to the neighbour may hold."""
        return (*WORDS, str(self.cast.own.contractor.pk), *(pk for ids in self.our_ids.values() for pk in ids))

    def seen_in(self, said: str) -> str:
        """The first thing of ours that is said; empty where there is none."""
        return next((thing for thing in self.secret_things if thing in said), "")

    def our_rows(self) -> str:
        """Everything of ours, as a fingerprint."""
        with acting_for(self.cast.own.contractor.pk), connection.cursor() as cursor:
            marks = []
            for table in tenant_tables():
                cursor.execute(f"SELECT md5(COALESCE(string_agg(md5(t::text), '' ORDER BY id), '')) FROM \"{table}\" t")
                marks.append(f"{table} {cursor.fetchone()[0]}")
        return "\n".join(marks)


def tenant_tables() -> Iterator[str]:
    yield from (model._meta.db_table for model in apps.get_models() if issubclass(model, TenantModel))


def two_firms() -> TwoFirms:
    cast = make_cast()
    return TwoFirms(cast, _ids(cast.own), _ids(cast.other))


def _ids(firm: FirmCast) -> Ids:
    ids = ids_of(firm)
    with acting_for(firm.contractor.pk):
        job = Job.objects.get(pk=uuid.UUID(ids["job"][0]))
        survey = Survey.objects.filter(pool=job.pool_id).latest("taken_at")
    return {
        **ids,
        "site": (str(job.site_id),),
        "pool": (str(job.pool_id),),
        "survey": (str(survey.pk),),
        "observation": (str(survey.pk), "feel_grit"),
        "pool_owner": (str(job.pool_owner_id),),
    }
