from __future__ import annotations

from django.db import models

from shared.ids import uuid7
from shared.models.outgoing import Outgoing


class PasswordMail(Outgoing):
    """Somebody asked for a new password of this address, known or not. Belongs to no firm; gone when it is done.

    The request only writes this row, so that its duration tells nobody whether the address has a login. The link
    is made when the mail is sent and stored nowhere.
    """

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    email = models.EmailField()
    language = models.CharField(max_length=8, default="en")

    class Meta(Outgoing.Meta):
        abstract = False
        indexes = [models.Index(fields=["state", "next_try_at"], name="shared_passwordmail_next")]

    def __str__(self) -> str:
        return f"new password asked {self.made_at:%Y-%m-%d %H:%M}"
