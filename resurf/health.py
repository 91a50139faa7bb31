"""Is this process alive, and is everything it needs there?"""

from __future__ import annotations

from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from redis.exceptions import RedisError

from resurf import heartbeat


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
    except DatabaseError:
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
