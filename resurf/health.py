"""Is this process alive, and is everything it needs there?"""

from __future__ import annotations

from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache


@never_cache
def healthz(request: HttpRequest) -> JsonResponse:
    """This process answers; nothing else is asked."""
    return JsonResponse({"alive": True})


@never_cache
def readyz(request: HttpRequest) -> JsonResponse:
    parts = {"database": database_answers()}
    ready = all(parts.values())
    return JsonResponse({"ready": ready, "parts": parts}, status=200 if ready else 503)


def database_answers() -> bool:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        return False
    return True
