from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from shared import clock


class OutgoingState(models.TextChoices):
    WAITING = "waiting", _("waiting")
    SENDING = "sending", _("being sent")
    SENT = "sent", _("sent")
    FAILED = "failed", _("failed")
    SKIPPED = "skipped", _("not sent")


class Outgoing(models.Model):
    """Something that has to reach another computer once. The row is the queue; `shared.services.outgoing` moves it.

    `handed_at` is written just before the other side could accept it: a row that died without it was surely not
    accepted. `repeats` counts how often it was sent again although it may have been.
    """

    state = models.CharField(max_length=8, choices=OutgoingState.choices, default=OutgoingState.WAITING)
    made_at = models.DateTimeField(default=clock.now)
    next_try_at = models.DateTimeField(default=clock.now)
    attempts = models.PositiveSmallIntegerField(default=0)
    claim = models.UUIDField(null=True)
    claimed_until = models.DateTimeField(null=True)
    handed_at = models.DateTimeField(null=True)
    repeats = models.PositiveSmallIntegerField(default=0)
    done_at = models.DateTimeField(null=True)
    code = models.PositiveSmallIntegerField(null=True, help_text="What the other side answered: SMTP or HTTP code.")
    answer = models.CharField(max_length=300, blank=True)

    class Meta:
        abstract = True
