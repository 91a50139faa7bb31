"""Sessions in the database, under the hash of their key, behind row policies (`SESSION_ENGINE`).

Every access says by `resurf.session` which one row it means; nothing here can list sessions.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final

from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.backends.base import SessionBase, UpdateError
from django.db import connection, transaction
from django.utils import timezone

from shared import clock
from shared.models import Session, session_hash

NOTED_EVERY: Final = dt.timedelta(minutes=5)
PLACE, BROWSER = "place", "browser"


class SessionStore(SessionBase):
    """What Django's session middleware asks for. `seen_at` is that of the row as it was read."""

    seen_at: dt.datetime | None = None

    @classmethod
    def clear_expired(cls) -> None:
        """The nightly sweep does it (`resurf/retention.py`)."""

    def exists(self, session_key: str) -> bool:
        with _only(session_key) as rows:
            return bool(rows.exists())

    def create(self) -> None:
        self._session_key = self._get_new_session_key()  # type: ignore[attr-defined]  # not in the stubs; 165 random bits
        self.save(must_create=True)
        self.modified = True

    def save(self, must_create: bool = False) -> None:
        if self.session_key is None:
            self.create()
            return
        said: dict[str, Any] = self._get_session(no_load=must_create)  # type: ignore[attr-defined]  # not in the stubs
        kept = {
            "data": self.encode(said),
            "ends_at": self.get_expiry_date(),
            "person_id": _person(said),
            "place": str(said.get(PLACE, ""))[:64],
            "browser": str(said.get(BROWSER, ""))[:80],
        }
        with _only(self.session_key) as rows:
            if must_create:
                found = Session.objects.create(key_hash=session_hash(self.session_key), **kept)
            else:
                found = rows.update(**kept)
        if not found:  # ended meanwhile: it must not come back
            raise UpdateError

    def delete(self, session_key: str | None = None) -> None:
        key = session_key or self.session_key
        if key is not None:
            with _only(key) as rows:
                rows.delete()

    def load(self) -> dict[str, Any]:
        if self.session_key is None:
            return {}
        with _only(self.session_key) as rows:
            found = rows.filter(ends_at__gt=timezone.now()).values_list("data", "seen_at").first()
        if found is None:
            self._session_key = None
            return {}
        self.seen_at = found[1]
        return self.decode(found[0])

    def note_seen(self) -> None:
        """Write down, every few minutes, that the session is in use."""
        now = clock.now()
        if self.session_key is None or self.seen_at is None or now - self.seen_at < NOTED_EVERY:
            return
        with _only(self.session_key) as rows:
            rows.update(seen_at=now)
        self.seen_at = now


@contextmanager
def _only(session_key: str) -> Iterator[Any]:
    """The one row of this key, in a transaction that sees no other."""
    hashed = session_hash(session_key)
    goes_on = connection.in_atomic_block  # a transaction of our own forgets the setting by itself
    with transaction.atomic(savepoint=False):
        _say(hashed)
        yield Session.objects.filter(key_hash=hashed)
        if goes_on:
            _say("")


def _say(hashed: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT set_config('resurf.session', %s, true)", [hashed])


def _person(said: dict[str, Any]) -> uuid.UUID | None:
    try:
        return uuid.UUID(str(said[SESSION_KEY]))
    except (KeyError, ValueError):
        return None
