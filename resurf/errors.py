"""The last answer: what a visitor is told when something went wrong here, or when the database is away."""

from __future__ import annotations

import sys
from typing import Final

from django.db import InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.views import defaults

from shared.api.problems import MEDIA_TYPE, problem
from shared.api.problems import server_error as api_server_error

AWAY: Final = (OperationalError, InterfaceError)  # not reached, ended in the middle, out of space, too slow
AGAIN_S: Final = 5  # about as long as a database needs to come back
AWAY_SAID: Final = "The service is away for a moment. Nothing of this request was kept: send it again."


def server_error(request: HttpRequest) -> HttpResponse:
    """500; 503 with Retry-After where the same request may be answered a moment later (RFC 9110, section 15.6.4)."""
    away = isinstance(sys.exc_info()[1], AWAY)
    answer: HttpResponse
    if not request.path_info.startswith("/api/"):
        answer = defaults.server_error(request)
    elif away:
        answer = JsonResponse(problem(503, AWAY_SAID), content_type=MEDIA_TYPE)
    else:
        answer = api_server_error()
    if away:
        answer.status_code = 503
        answer.headers["Retry-After"] = str(AGAIN_S)
    return answer
