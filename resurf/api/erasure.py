"""Pool owners, and the erasure of one's personal data on request."""

from __future__ import annotations

import uuid
from typing import Any

from django.core.exceptions import ValidationError
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.api.rows import PoolOwnerRow
from jobs.models import PoolOwner
from resurf.erasure import pool_owner_erase
from shared.api.endpoint import Endpoint, operation, read
from shared.api.fields import In, Text
from shared.api.marks import matched, shown
from shared.api.pages import Paged, asked, page
from shared.scopes import MANAGER, OFFICE


class PoolOwnersAsked(Paged):
    q = serializers.CharField(required=False, max_length=80, help_text="Part of the name.")


class PoolOwners(Endpoint):
    may = {"GET": OFFICE}

    @operation("pool_owners_list", "Pool owners", gives=PoolOwnerRow, many=True, filters=PoolOwnersAsked)
    def get(self, request: Request) -> Response:
        wanted = asked(request, PoolOwnersAsked)
        found = PoolOwner.objects.all()
        return page(found.filter(name__icontains=wanted["q"]) if "q" in wanted else found, wanted, PoolOwnerRow)


class OnePoolOwner(Endpoint):
    may = {"GET": OFFICE}

    @operation("pool_owner_show", "One pool owner", gives=PoolOwnerRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        return shown(request, PoolOwnerRow(self.own(PoolOwner, pk)).data)


class EraseBody(In):
    EXAMPLE = {"name": "Pool owner of Site 09"}

    name = Text(max_length=120, help_text="The pool owner's name once more, so that nobody is erased by mistake.")


class ErasedRow(serializers.Serializer[Any]):
    """How many rows were blanked, by what they are."""

    changed = serializers.DictField(child=serializers.IntegerField())


class PoolOwnerErase(Endpoint):
    may = {"POST": MANAGER}

    @operation(
        "pool_owner_erase", "Erase the personal data of a pool owner whose jobs are all over; the trail stays",
        takes=EraseBody, gives=ErasedRow, match=False,
    )  # fmt: skip
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        found = self.own(PoolOwner, pk, lock=True)
        matched(request, PoolOwnerRow(found).data, needed=False)
        if read(request, EraseBody)["name"] != found.name:
            raise ValidationError({"name": "This is not the name of this pool owner."})
        changed = pool_owner_erase(self.contractor, found, by=self.who.person.name)
        return Response(ErasedRow({"changed": changed}).data)
