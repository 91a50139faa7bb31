"""Is this process alive, and is everything it needs there?"""

from __future__ import annotations

from collections.abc import Callable

from django.db import Error, connection
from django.http import HttpRequest, HttpResponseBase, JsonResponse
from django.views.decorators.cache import never_cache
from redis.exceptions import RedisError

from resurf import heartbeat
from resurf.measures import metrics


class Probes:
    """Answers /healthz and /readyz before anything else may ask for a host name, a session or the database."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        probe = PROBES.get(request.path_info)
        return self.get_response(request) if probe is None else probe(request)


@never_cache
def healthz(request: HttpRequest) -> JsonResponse:
    """This process answers; nothing else is asked."""
    return JsonResponse({"alive": True})


@never_cache
def readyz(request: HttpRequest) -> JsonResponse:
    """Database, broker, a worker for every queue, and beat; 503 as long as one is missing."""
    parts = {"database": database_answers(), **broker_and_workers()}
    ready = all(parts.values())
    return JsonResponse({"ready": ready, "parts": parts}, status=200 if ready else 503)


def database_answers() -> bool:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except Error:
        return False
    return True


def broker_and_workers() -> dict[str, bool]:
    signs = [heartbeat.queue_sign(queue) for queue in heartbeat.queues()]
    try:
        ages = heartbeat.ages_s([*signs, heartbeat.BEAT])
    except RedisError:
        return {"broker": False, "worker": False, "beat": False}
    return {
        "broker": True,
        "worker": all(heartbeat.in_time(ages[sign]) for sign in signs),
        "beat": heartbeat.in_time(ages[heartbeat.BEAT]),
    }


PROBES: dict[str, Callable[[HttpRequest], HttpResponseBase]] = {
    "/healthz": healthz,
    "/readyz": readyz,
    "/metrics": metrics,
}
