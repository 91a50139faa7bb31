"""A pool owner's personal data are erased on request."""

from __future__ import annotations

import uuid
from typing import Any

from django.core.exceptions import ValidationError
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.models import PoolOwner
from resurf.erasure import erasure_extent, pool_owner_erase
from resurf.erasure.rows import ERASED
from shared.api.endpoint import Endpoint, operation, read
from shared.api.fields import In, Text, Yes
from shared.api.marks import shown
from shared.api.problems import Conflict
from shared.scopes import MANAGER


class ExtentRow(serializers.Serializer[Any]):
    """Whose rows an erasure is about; while a job is open nothing is erased."""

    pool_owner = serializers.UUIDField()
    erased = serializers.BooleanField()
    jobs = serializers.ListField(child=serializers.UUIDField())
    open_jobs = serializers.ListField(child=serializers.IntegerField(), help_text="Numbers of jobs that are open.")
    sites = serializers.ListField(child=serializers.UUIDField(), help_text="Homes of nobody else by now.")
    left = serializers.ListField(child=serializers.UUIDField(), help_text="Sites of other pool owners by now.")


class EraseBody(In):
    """The name once more, and that nothing obliges the firm to keep these data; it cannot be undone."""

    EXAMPLE = {"name": "Pool owner of Site 09", "sure": True}

    name = Text(max_length=120)
    sure = Yes()


class ErasedRow(serializers.Serializer[Any]):
    """How many rows were blanked, by what they are."""

    changed = serializers.DictField(child=serializers.IntegerField())


class PoolOwnerErasure(Endpoint):
    may = {"GET": MANAGER, "POST": MANAGER}

    @operation("erasure_show", "What an erasure would be about", gives=ExtentRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        found = self.own(PoolOwner, pk)
        extent = erasure_extent(found)
        said = {
            "pool_owner": found.pk,
            "erased": found.name == ERASED,
            "jobs": [job.pk for job in extent.jobs],
            "open_jobs": extent.open_numbers,
            "sites": [site.pk for site in extent.sites],
            "left": [site.pk for site in extent.left],
        }
        return shown(request, ExtentRow(said).data)

    @operation(
        "pool_owner_erase", "Erase the personal data of a pool owner whose jobs are all over; the trail stays",
        takes=EraseBody, gives=ErasedRow, tag=False,
    )  # fmt: skip
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        found = self.own(PoolOwner, pk, lock=True)
        body = read(request, EraseBody)
        if found.name == ERASED:
            raise Conflict("This pool owner was erased already.")
        if " ".join(body["name"].split()) != " ".join(found.name.split()):
            raise ValidationError({"name": "This is not the name of this pool owner: nothing was erased."})
        if not body["sure"]:
            raise ValidationError({"sure": "Say true, or nothing is erased."})
        return Response(ErasedRow({"changed": pool_owner_erase(self.contractor, found, by=self.who)}).data)
