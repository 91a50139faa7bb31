"""A POST with an Idempotency-Key is done once: sent again, the first answer is given again."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import re
from collections.abc import Callable
from typing import Any, Final

from rest_framework import serializers
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from shared import clock
from shared.api.problems import Conflict, KeyUsedOtherwise
from shared.models import ApiAnswer, Membership

HEADER: Final = "Idempotency-Key"
KEPT: Final = dt.timedelta(hours=24)
_KEPT_HEADERS: Final = ("Location", "ETag", "Cache-Control")
_PLAUSIBLE: Final = re.compile(r"[\x21-\x7e]{1,255}")


def once(request: Request, who: Membership, run: Callable[[], Response], *, secret: bool = False) -> Response:
    """Run, or give the kept answer. A second request waits for the first; a refused one leaves nothing behind.

    secret : the answer holds what is stored nowhere: it is not kept, and the second request is told to read the row
    """
    key = request.headers.get(HEADER)
    if key is None:
        return run()
    if not _PLAUSIBLE.fullmatch(key):
        raise serializers.ValidationError({HEADER: ["A key has 1 to 255 visible ASCII characters."]})
    now, fingerprint = clock.now(), _fingerprint(request)
    ApiAnswer.objects.filter(member=who, created_at__lt=now - KEPT).delete()
    kept, new = ApiAnswer.objects.get_or_create(
        member=who, key=key, defaults={"fingerprint": fingerprint, "created_at": now}
    )
    if new:
        answer = run()
        kept.status, kept.body = answer.status_code, None if secret else _plain(answer.data)
        kept.headers = {name: answer[name] for name in _KEPT_HEADERS if answer.has_header(name)}
        kept.save(update_fields=["status", "body", "headers"])
        return answer
    if kept.fingerprint != fingerprint:
        raise KeyUsedOtherwise
    if secret:
        raise Conflict("This was done already: read the row.")
    return Response(kept.body, status=kept.status, headers={**kept.headers, "Idempotency-Replayed": "true"})


def _fingerprint(request: Request) -> str:
    sent: Any = request.data
    if isinstance(sent, bytes):
        sent = hashlib.sha256(sent).hexdigest()
    body = json.dumps(sent, sort_keys=True, default=str)
    text = f"{request.method} {request.get_full_path()} {request.headers.get('If-Match', '')} {body}"
    return hashlib.sha256(text.encode(errors="surrogatepass")).hexdigest()


def _plain(data: Any) -> Any:
    return None if data is None else json.loads(JSONRenderer().render(data))
