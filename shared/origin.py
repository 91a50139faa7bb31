"""From where something is done: kept in the audit trail beside who did it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Final

from django.http import HttpRequest, HttpResponseBase

from shared.access import place_of

LONGEST: Final = 64
_origin: ContextVar[str] = ContextVar("origin", default="")


def origin() -> str:
    """Such as "screen, 203.0.113.7" or "task scheduling.sweep"; empty where nobody said."""
    return _origin.get()


@contextmanager
def coming_from(words: str) -> Iterator[None]:
    token = _origin.set(words[:LONGEST])
    try:
        yield
    finally:
        _origin.reset(token)


def set_origin(words: str) -> None:
    """For a task, whose beginning and end are signals."""
    _origin.set(words[:LONGEST])


class OriginOfRequest:
    """What a request does comes from a screen at its address; the API adds the name of its token."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        with coming_from(f"screen, {place_of(request)}"):
            return self.get_response(request)
