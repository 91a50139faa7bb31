"""How long a log-in lasts: a longest life, a time without use that the role decides, and ends that somebody ordered."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable
from typing import Any, Final

from django.conf import settings
from django.contrib.auth.signals import user_logged_in
from django.dispatch import receiver
from django.http import HttpRequest

from shared import clock
from shared.access import PasswordNeeded, place_of
from shared.models import Membership
from shared.sessions import BROWSER, PLACE

SINCE: Final = "since"  # seconds since 1970 of the log-in
SURE_UNTIL: Final = "sure_until"
SURE: Final = dt.timedelta(minutes=10)  # so long the password need not be typed again

# What browsers call themselves; the first that fits counts, since each claims to be the ones below it.
BROWSERS: Final = (
    ("Edg/", "Edge"),
    ("OPR/", "Opera"),
    ("Firefox/", "Firefox"),
    ("Chrome/", "Chrome"),
    ("Safari/", "Safari"),
)
SYSTEMS: Final = (
    ("Android", "Android"), ("iPhone", "iPhone"), ("iPad", "iPad"), ("Windows", "Windows"),
    ("Mac OS", "Mac"), ("Linux", "Linux"),
)  # fmt: skip


@receiver(user_logged_in)
def _begin(request: HttpRequest, **_: Any) -> None:
    """Note in the session when, from where and with what somebody logged in."""
    request.session[SINCE] = clock.now().timestamp()
    request.session[PLACE] = place_of(request)
    request.session[BROWSER] = browser_words(request.headers.get("User-Agent", ""))
    now_sure(request)


def session_is_over(request: HttpRequest, memberships: Iterable[Membership], chosen: Membership | None) -> str:
    """Why this log-in opens nothing any more: "life", "ended" or "idle"; empty while it does."""
    now, since = clock.now().timestamp(), float(request.session.get(SINCE, 0.0))
    if now - since > settings.SESSION_COOKIE_AGE:
        return "life"
    if any(m.sessions_ended_at and since <= m.sessions_ended_at.timestamp() for m in memberships):
        return "ended"
    seen = getattr(request.session, "seen_at", None)
    if chosen is not None and seen is not None and now - seen.timestamp() > idle_limit(chosen.role).total_seconds():
        return "idle"
    return ""


def idle_limit(role: str) -> dt.timedelta:
    """Time without use after which a role logs in again."""
    return dt.timedelta(hours=settings.IDLE_HOURS[role])


def now_sure(request: HttpRequest) -> None:
    """The password was typed a moment ago."""
    request.session[SURE_UNTIL] = (clock.now() + SURE).timestamp()


def sure(request: HttpRequest) -> None:
    """Go on only if the password was typed within the last minutes; else it is asked for, and then comes back here."""
    if clock.now().timestamp() >= float(request.session.get(SURE_UNTIL, 0.0)):
        raise PasswordNeeded


def browser_words(agent: str) -> str:
    """Such as "Firefox, Windows"; what is not known is left out, and nothing else of the header is kept."""
    browser = next((word for mark, word in BROWSERS if mark in agent), "")
    system = next((word for mark, word in SYSTEMS if re.search(rf"\b{mark}", agent)), "")
    return ", ".join(word for word in (browser, system) if word)
