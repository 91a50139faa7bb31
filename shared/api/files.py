"""Bodies that are a picture, and answers that are a file."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from django.core.files.storage import default_storage
from django.http import Http404, HttpResponse
from drf_spectacular.types import OpenApiTypes
from rest_framework import parsers
from rest_framework.request import Request

from shared.api.endpoint import bounded
from shared.api.marks import named

PICTURES: Final[Mapping[str, Any]] = dict.fromkeys(("image/jpeg", "image/png", "image/webp"), OpenApiTypes.BINARY)


class _Octets(parsers.BaseParser):
    def parse(self, stream: Any, media_type: str | None = None, parser_context: Mapping[str, Any] | None = None) -> Any:
        return bounded(stream, parser_context)


class Jpeg(_Octets):
    media_type = "image/jpeg"


class Png(_Octets):
    media_type = "image/png"


class Webp(_Octets):
    media_type = "image/webp"


def file_shown(request: Request, name: str, media_type: str, mark: str) -> HttpResponse:
    """A file of the store with its tag; 304 where the asker has it already, 404 where it is gone."""
    headers = {"ETag": mark, "Cache-Control": "private, no-cache"}
    if named(request, mark):
        return HttpResponse(status=304, headers=headers)
    try:
        with default_storage.open(name) as stored:
            return HttpResponse(
                stored.read(), content_type=media_type, headers={**headers, "X-Content-Type-Options": "nosniff"}
            )
    except OSError as gone:
        raise Http404 from gone
