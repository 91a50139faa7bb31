from __future__ import annotations

import hashlib
import hmac

from django.db import models

from shared.ids import uuid7
from shared.keys import key_marked, present_mark
from shared.models.person import Person


class SecondFactor(models.Model):
    """A person's one-time passwords (RFC 6238). Seen by that person alone (row policy); no key is stored.

    The key follows from the row and the installation's own key; recovery codes are kept as hashes.
    """

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    person = models.OneToOneField(Person, on_delete=models.CASCADE, related_name="second_factor")
    made_at = models.DateTimeField()
    confirmed_at = models.DateTimeField(null=True)
    last_step = models.BigIntegerField(default=-1, help_text="The step of the last code taken: none is taken twice.")
    recovery = models.JSONField(default=list, help_text="SHA-256 of each code that is left.")
    key_mark = models.CharField(max_length=16, default=present_mark, db_default="", help_text="Which key it follows.")

    objects = models.Manager()

    def __str__(self) -> str:
        return f"second factor of {self.person_id}"

    @property
    def key(self) -> bytes:
        """160 bits, as RFC 4226 section 4 recommends."""
        return hmac.new(key_marked(self.key_mark), f"second-factor:{self.id}".encode(), hashlib.sha1).digest()
