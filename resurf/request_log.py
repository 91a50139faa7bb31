"""One line in the log for each request, and an id that the lines of its tasks carry too."""

from __future__ import annotations

import re
import time
import uuid
from collections.abc import Callable
from typing import Any

import structlog
from celery import signals
from django.http import HttpRequest, HttpResponseBase

from resurf.answers import answers
from resurf.route_times import route_times
from shared.origin import set_origin

HEADER = "X-Request-ID"
_PLAUSIBLE = re.compile(r"[A-Za-z0-9-]{8,64}")
_QUIET_ROUTES = {"metrics"}

log = structlog.stdlib.get_logger("resurf.request")


class RequestLog:
    """Binds the request id (the proxy's, or a new one) and logs route, status and time."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        given = request.headers.get(HEADER, "")
        request_id = given if _PLAUSIBLE.fullmatch(given) else uuid.uuid4().hex
        structlog.contextvars.clear_contextvars()
        structlog.contextvars.bind_contextvars(request_id=request_id)
        begun = time.perf_counter()
        response = self.get_response(request)
        response[HEADER] = request_id
        route = request.resolver_match.route if request.resolver_match else None
        answers.note(route, response.status_code)
        name = request.resolver_match.view_name if request.resolver_match else ""
        route_times.note(name, request.method, response.status_code, time.perf_counter() - begun)
        if route not in _QUIET_ROUTES:
            milliseconds = round(1000 * (time.perf_counter() - begun), 1)
            log.info("request", method=request.method, route=route, status=response.status_code, ms=milliseconds)
        structlog.contextvars.clear_contextvars()
        return response


@signals.before_task_publish.connect
def _send_the_id_along(headers: dict[str, Any] | None = None, **_: Any) -> None:
    request_id = structlog.contextvars.get_contextvars().get("request_id")
    if headers is not None and request_id:
        headers["request_id"] = request_id


@signals.task_prerun.connect
def _take_the_id_on(task_id: str, task: Any, **_: Any) -> None:
    structlog.contextvars.clear_contextvars()
    structlog.contextvars.bind_contextvars(task=task.name, task_id=task_id)
    set_origin(f"task {task.name}")
    request_id = (task.request.headers or {}).get("request_id")
    if request_id:
        structlog.contextvars.bind_contextvars(request_id=request_id)


@signals.task_postrun.connect
def _let_go(**_: Any) -> None:
    set_origin("")
    structlog.contextvars.clear_contextvars()
