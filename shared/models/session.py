from __future__ import annotations

import hashlib

from django.db import models

from shared import clock
from shared.ids import uuid7


class Session(models.Model):
    """A log-in on one device. The database holds the hash of its key: a copy of the table opens nothing.

    Belongs to no firm. Row policies show it to who brings its key, and to its person; nobody lists sessions.
    """

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    key_hash = models.CharField(max_length=64, unique=True)
    person_id = models.UUIDField(null=True, db_index=True)
    data = models.TextField()
    ends_at = models.DateTimeField(db_index=True)
    made_at = models.DateTimeField(default=clock.now)
    seen_at = models.DateTimeField(default=clock.now, help_text="Last request, noted every few minutes.")
    place = models.CharField(max_length=64, blank=True, help_text="The address that the log-in came from.")
    browser = models.CharField(max_length=80, blank=True)

    objects = models.Manager()

    def __str__(self) -> str:
        return f"session of {self.made_at:%Y-%m-%d %H:%M}"


def session_hash(key: str) -> str:
    """SHA-256 of a random key of more than 160 bits; nothing slower is needed."""
    return hashlib.sha256(key.encode()).hexdigest()
