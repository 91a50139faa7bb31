"""The last answer: what a visitor is told when something went wrong here."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.views import defaults

from shared.api.problems import server_error as problem


def server_error(request: HttpRequest) -> HttpResponse:
    return problem() if request.path_info.startswith("/api/") else defaults.server_error(request)
