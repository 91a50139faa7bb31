"""Pool owners."""

from __future__ import annotations

import uuid

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.api.rows import PoolOwnerRow
from jobs.models import PoolOwner
from shared.api.endpoint import Endpoint, operation
from shared.api.marks import shown
from shared.api.pages import Paged, asked, page
from shared.scopes import OFFICE


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
