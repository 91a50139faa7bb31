from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_POST, require_safe

from jobs.models import Job
from shared import access
from shared.models import TokenKind


@require_safe
def pool_owner(request: HttpRequest, secret: str) -> HttpResponse:
    with access.opened_by(TokenKind.LINK, secret, "pool_owner") as token:
        job = Job.objects.select_related("site").get(pk=token.subject_id)
        return render(request, "site/first.html", {"heading": job.site.label})


@csrf_exempt  # the secret in the address is the key; no login is used here
@require_POST
def answer(request: HttpRequest, secret: str) -> HttpResponse:
    with access.opened_by(TokenKind.LINK, secret, "pool_owner"):
        return redirect("pool-owner", secret=secret)
