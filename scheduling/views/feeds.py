from __future__ import annotations

import datetime as dt
import gzip
import hashlib
import threading
from collections import OrderedDict
from typing import Final

from django.http import HttpRequest, HttpResponse, HttpResponseNotModified
from django.views.decorators.http import require_safe

from scheduling.calendars import feed_bytes
from scheduling.selectors.feeds import PURPOSES, FeedFacts, facts_of, feed_from
from shared import access, clock
from shared.models import AccessToken, TokenKind
from shared.services.counting import count

MOST_A_MINUTE: Final = 60
MOST_REMEMBERED: Final = 16 * 1024**2  # bytes of written calendars in each web process
SEEN_EVERY: Final = dt.timedelta(minutes=5)
_remembered: OrderedDict[bytes, tuple[bytes, str]] = OrderedDict()
_lock = threading.Lock()


@require_safe
def feed(request: HttpRequest, secret: str) -> HttpResponse:
    """A calendar by its private link: strong ETag from the bytes, 304, HEAD, private caching."""
    with access.opened_by(TokenKind.FEED, secret, *PURPOSES) as token:
        if _too_often(token):
            return HttpResponse("Too many requests; ask again in a minute.", status=429, headers={"Retry-After": "60"})
        _seen(token)
        facts = facts_of(token)
    body, mark = written(facts)
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


def written(facts: FeedFacts) -> tuple[bytes, str]:
    """The calendar and the mark of its content; equal facts are written once by a process, and remembered for a while.

    The facts hold everything that the bytes follow from, so a remembered calendar is never an old one.
    """
    key = hashlib.sha256(repr(facts).encode()).digest()
    with _lock:
        found = _remembered.get(key)
        if found is not None:
            _remembered.move_to_end(key)
            return found
    body = feed_bytes(feed_from(facts))
    made = body, hashlib.sha256(body).hexdigest()
    with _lock:
        _remembered[key] = made
        while len(_remembered) > 1 and sum(len(kept) for kept, _mark in _remembered.values()) > MOST_REMEMBERED:
            _remembered.popitem(last=False)
    return made


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
