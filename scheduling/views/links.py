from __future__ import annotations

import uuid

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from shared import access
from shared.models import AccessToken


@require_POST
def link_make(request: HttpRequest) -> HttpResponse:
    access.manager(request)
    return redirect("firm")


@require_POST
def link_rotate(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    access.manager(request)
    access.own(AccessToken, pk)
    return redirect("firm")


@require_POST
def link_revoke(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    access.manager(request)
    access.own(AccessToken, pk)
    return redirect("firm")
