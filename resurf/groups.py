"""One database for each group of contractors: which one a request, a task or a command works on.

No query crosses contractors, so a group is a database of its own with all tables, its people and its sessions. A
group has host names; whoever comes by one of them works on its database and on no other. The router sends the ORM
there; `connections["default"]` stands for the same connection meanwhile, so that transactions, savepoints and bare
SQL go the same way.

DATABASE_GROUPS=east,west   DATABASE_URL_EAST=postgresql://...   HOSTS_EAST=east.plans.example   (and so on)
Without groups there is one database, and nothing of this is at work.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

from celery import signals
from django.conf import settings
from django.db import DEFAULT_DB_ALIAS, connections
from django.http import HttpRequest, HttpResponseBase
from django.http.request import split_domain_port

from resurf.group_settings import HEADER

_group: ContextVar[str] = ContextVar("database_group", default=DEFAULT_DB_ALIAS)


def group() -> str:
    """The alias of the database that this work belongs to."""
    return _group.get()


@contextmanager
def working_on(alias: str) -> Iterator[None]:
    """Everything inside happens in the database of this group; not to be changed within a transaction."""
    if alias == _group.get():
        yield
        return
    before = connections[DEFAULT_DB_ALIAS]
    if before.in_atomic_block and _group.get() != DEFAULT_DB_ALIAS:
        raise RuntimeError(f"A transaction of the group {_group.get()} is open: it cannot go on in {alias}.")
    token = _group.set(alias)
    connections[DEFAULT_DB_ALIAS] = connections[alias]
    try:
        yield
    finally:
        connections[DEFAULT_DB_ALIAS] = before
        _group.reset(token)


class GroupRouter:
    """Reads and writes of the ORM go to the group at work; rows of two groups are never related."""

    def db_for_read(self, model: Any, **hints: Any) -> str:
        return group()

    def db_for_write(self, model: Any, **hints: Any) -> str:
        return group()

    def allow_relation(self, one: Any, other: Any, **hints: Any) -> bool:
        return bool(one._state.db in (None, other._state.db) or other._state.db is None)

    def allow_migrate(self, db: str, app_label: str, **hints: Any) -> bool:
        return True


class GroupOfRequest:
    """By the host name; any other belongs to the first database."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        if not settings.DATABASE_GROUP_HOSTS:
            return self.get_response(request)
        host = split_domain_port(request.META.get("HTTP_HOST", ""))[0].lower()
        with working_on(settings.DATABASE_GROUP_HOSTS.get(host, DEFAULT_DB_ALIAS)):
            return self.get_response(request)


@signals.before_task_publish.connect
def _send_the_group_along(headers: dict[str, Any] | None = None, **_: Any) -> None:
    if headers is not None and group() != DEFAULT_DB_ALIAS:
        headers.setdefault(HEADER, group())


_open: dict[str, Any] = {}


@signals.task_prerun.connect
def _begin(task_id: str, task: Any, **_: Any) -> None:
    alias = (task.request.headers or {}).get(HEADER) or getattr(task.request, HEADER, None)
    if alias in settings.DATABASE_GROUP_HOSTS.values():
        scope = working_on(str(alias))
        scope.__enter__()
        _open[task_id] = scope


@signals.task_postrun.connect
def _end(task_id: str, **_: Any) -> None:
    scope = _open.pop(task_id, None)
    if scope is not None:
        scope.__exit__(None, None, None)
