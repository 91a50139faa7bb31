"""When a subscriber's calendar rings before an event, as chosen for a link (VALARM, RFC 5545 section 3.6.6)."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any, Final

from django.utils.translation import gettext_lazy as _l

from shared.models import AccessToken

NONE: Final = "none"
# Before the beginning of an all-day event, which is midnight: ten in the morning and six in the evening of days before.
ALL_DAY: Final[Mapping[str, tuple[Any, dt.timedelta | None]]] = {
    NONE: (_l("no alarm"), None),
    "evening": (_l("the evening before"), dt.timedelta(hours=6)),
    "day": (_l("the morning before"), dt.timedelta(hours=14)),
    "two_days": (_l("two mornings before"), dt.timedelta(hours=38)),
    "week": (_l("a week before"), dt.timedelta(days=6, hours=14)),
}
TIMED: Final[Mapping[str, tuple[Any, dt.timedelta | None]]] = {
    NONE: (_l("no alarm"), None),
    "hour": (_l("an hour before"), dt.timedelta(hours=1)),
    "half_day": (_l("twelve hours before"), dt.timedelta(hours=12)),
    "day": (_l("a day before"), dt.timedelta(hours=24)),
}
USUAL: Final = {"pool_owner": "day"}  # the others ring only where somebody chose it


def offered(purpose: str) -> Mapping[str, tuple[Any, dt.timedelta | None]]:
    """A crew's stints have hours; fill days are all-day events."""
    return TIMED if purpose == "crew" else ALL_DAY


def chosen(token: AccessToken) -> str:
    code = str(token.note.get("alarm", USUAL.get(token.purpose, NONE)))
    return code if code in offered(token.purpose) else NONE


def alarms_of(token: AccessToken) -> tuple[dt.timedelta, ...]:
    """How long before each event of this link the calendar rings; nothing where no alarm was chosen."""
    before = offered(token.purpose)[chosen(token)][1]
    return () if before is None else (before,)


def choices(token: AccessToken) -> list[tuple[str, Any, bool]]:
    """(code, words, is chosen)."""
    now = chosen(token)
    return [(code, words, code == now) for code, (words, _before) in offered(token.purpose).items()]
