"""Lists by page: newest first, each page names the row after which the next begins."""

from __future__ import annotations

import base64
import binascii
import uuid
from collections.abc import Mapping
from typing import Any, Final

from django.db.models import Model, QuerySet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from shared.api.fields import Asked

USUAL: Final = 50
MOST: Final = 200


class Paged(Asked):
    limit = serializers.IntegerField(min_value=1, max_value=MOST, default=USUAL, help_text="Rows of a page.")
    cursor = serializers.CharField(required=False, max_length=64, help_text="`next` of the page before.")


def asked(request: Request, filters: type[Asked]) -> dict[str, Any]:
    """The checked parameters; unknown and doubled ones are refused, so that no filter is silently ignored."""
    fields = filters().fields
    lists = {name for name, field in fields.items() if isinstance(field, serializers.MultipleChoiceField)}
    given: dict[str, Any] = {}
    wrong: dict[str, list[str]] = {}
    for name, values in request.query_params.lists():
        if name not in fields:
            wrong[name] = ["There is no such parameter."]
        elif name not in lists and len(values) > 1:
            wrong[name] = ["Given more than once."]
        given[name] = values if name in lists else values[-1]
    if wrong:
        raise serializers.ValidationError(dict(list(wrong.items())[:20]))
    reader = filters(data=given)
    reader.is_valid(raise_exception=True)
    found: dict[str, Any] = reader.validated_data
    return found


def page(
    rows: QuerySet[Any], wanted: Mapping[str, Any], shown: type[serializers.BaseSerializer[Any]], **context: Any
) -> Response:
    """One page of rows, by their ids (UUIDv7: the order in which they were made)."""
    if "cursor" in wanted:
        rows = rows.filter(pk__lt=_row_of(wanted["cursor"]))
    found: list[Model] = list(rows.order_by("-pk")[: wanted["limit"] + 1])
    more = len(found) > wanted["limit"]
    kept = found[: wanted["limit"]]
    following = _cursor_of(kept[-1].pk) if more else None
    return Response({"results": shown(kept, many=True, context=context).data, "next": following})


def _cursor_of(pk: uuid.UUID) -> str:
    return base64.urlsafe_b64encode(pk.bytes).rstrip(b"=").decode()


def _row_of(cursor: str) -> uuid.UUID:
    try:
        return uuid.UUID(bytes=base64.b64decode(cursor + "==", altchars=b"-_", validate=True))
    except (binascii.Error, ValueError) as wrong:
        raise serializers.ValidationError({"cursor": ["This is not a cursor of a page."]}) from wrong
