from __future__ import annotations

import datetime as dt
import gzip
import hashlib
from functools import lru_cache
from typing import Final

from django.http import HttpRequest, HttpResponse, HttpResponseNotModified
from django.views.decorators.http import require_safe

from scheduling.calendars import Feed, feed_bytes
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
        body, mark = written(feed_of(token))
    packed = "gzip" in request.headers.get("Accept-Encoding", "")
    etags = f'"{mark}"', f'"{mark}-gzip"'  # a strong mark names the bytes as they travel (RFC 9110, section 8.8.3)
    asked = request.headers.get("If-None-Match", "")
    same = any(known.strip().removeprefix("W/") in (*etags, "*") for known in asked.split(",") if known.strip())
    answer = HttpResponseNotModified() if same else _full(body, packed)
    answer["ETag"] = etags[packed]
    answer["Vary"] = "Accept-Encoding"
    answer["Cache-Control"] = "private, max-age=300"
    answer["X-Robots-Tag"] = "noindex"
    answer["Referrer-Policy"] = "no-referrer"
    if not same:
        answer["Content-Disposition"] = 'inline; filename="fill-days.ics"'
    return answer


@lru_cache(maxsize=32)
def written(feed: Feed) -> tuple[bytes, str]:
    """The calendar and the mark of its content; equal feeds are written once by a process."""
    body = feed_bytes(feed)
    return body, hashlib.sha256(body).hexdigest()


def _full(body: bytes, packed: bool) -> HttpResponse:
    sent = gzip.compress(body, compresslevel=6, mtime=0) if packed else body
    answer = HttpResponse(sent, content_type="text/calendar; charset=utf-8")
    if packed:
        answer["Content-Encoding"] = "gzip"
    return answer


def _too_often(token: AccessToken) -> bool:
    return count(f"feed:{token.pk}:{clock.now():%Y%m%d%H%M}", 120) > MOST_A_MINUTE


def _seen(token: AccessToken) -> None:
    now = clock.now()
    if token.last_used_at is None or now - token.last_used_at > SEEN_EVERY:
        AccessToken.objects.filter(pk=token.pk).update(last_used_at=now)
