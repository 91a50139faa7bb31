from __future__ import annotations

import datetime as dt
import hashlib
from typing import Final

from django.http import HttpRequest, HttpResponse, HttpResponseNotModified
from django.views.decorators.http import require_safe

from scheduling.calendars import feed_bytes
from scheduling.selectors.feeds import PURPOSES, feed_of
from shared import access, clock
from shared.models import AccessToken, TokenKind
from shared.services.counting import count

MOST_A_MINUTE: Final = 60
SEEN_EVERY: Final = dt.timedelta(minutes=5)


@require_safe
def feed(request: HttpRequest, secret: str) -> HttpResponse:
    """A calendar by its private link: strong ETag from the bytes, 304, HEAD, private caching."""
    with access.opened_by(TokenKind.FEED, secret, *PURPOSES) as token:
        if _too_often(token):
            return HttpResponse("Too many requests; ask again in a minute.", status=429, headers={"Retry-After": "60"})
        _seen(token)
        body = feed_bytes(feed_of(token))
    etag = f'"{hashlib.sha256(body).hexdigest()}"'
    asked = request.headers.get("If-None-Match", "")
    same = any(mark.strip().removeprefix("W/") in (etag, "*") for mark in asked.split(",") if mark.strip())
    answer = HttpResponseNotModified() if same else HttpResponse(body, content_type="text/calendar; charset=utf-8")
    answer["ETag"] = etag
    answer["Cache-Control"] = "private, max-age=300"
    answer["X-Robots-Tag"] = "noindex"
    answer["Referrer-Policy"] = "no-referrer"
    if not same:
        answer["Content-Disposition"] = 'inline; filename="fill-days.ics"'
    return answer


def _too_often(token: AccessToken) -> bool:
    return count(f"feed:{token.pk}:{clock.now():%Y%m%d%H%M}", 120) > MOST_A_MINUTE


def _seen(token: AccessToken) -> None:
    now = clock.now()
    if token.last_used_at is None or now - token.last_used_at > SEEN_EVERY:
        AccessToken.objects.filter(pk=token.pk).update(last_used_at=now)
