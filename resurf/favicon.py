"""The icon that a browser asks for on a page that names none, such as a plain answer or a calendar."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.templatetags.static import static
from django.views.decorators.http import require_safe


@require_safe
def favicon(request: HttpRequest) -> HttpResponse:
    return redirect(static("resurf/mark.svg"))
