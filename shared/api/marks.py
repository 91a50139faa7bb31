"""Entity tags: what was read carries one, and a change must name the one that it was made from."""

from __future__ import annotations

import hashlib
from typing import Any

from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from shared.api.problems import PreconditionFailed, PreconditionRequired


def mark_of(data: Any) -> str:
    """A strong tag of what is shown."""
    return f'"{hashlib.sha256(JSONRenderer().render(data)).hexdigest()[:32]}"'


def shown(request: Request, data: Any, status: int = 200, **headers: str) -> Response:
    """The row with its tag; 304 where the asker has it already."""
    mark = mark_of(data)
    headers = {"ETag": mark, "Cache-Control": "private, no-cache", **headers}
    if named(request, mark):
        return Response(status=304, headers=headers)
    return Response(data, status=status, headers=headers)


def named(request: Request, mark: str) -> bool:
    """The asker has it already."""
    return request.method in ("GET", "HEAD") and _names(request.headers.get("If-None-Match", ""), mark, weak=True)


def matched(request: Request, data: Any, *, needed: bool = True) -> None:
    """Refuse a change that was made from something else than what is kept (RFC 9110, section 13.1.1; RFC 6585)."""
    given = request.headers.get("If-Match", "")
    if not given:
        if needed:
            raise PreconditionRequired
        return
    if not _names(given, mark_of(data), weak=False):
        raise PreconditionFailed


def _names(header: str, mark: str, *, weak: bool) -> bool:
    marks = [one.strip() for one in header.split(",")]
    return "*" in marks or any((one.removeprefix("W/") if weak else one) == mark for one in marks)
