from __future__ import annotations

import base64
import hashlib
import hmac

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.utils.translation import gettext_lazy as _

from shared.keys import key_marked, present_mark
from shared.models.outgoing import Outgoing
from shared.tenancy.models import TenantForeignKey, TenantModel


class HookEvent(models.TextChoices):
    PLAN_ISSUED = "plan.issued", _("a plan was issued")
    FILL_MOVED = "fill.moved", _("a fill day has moved")
    FILL_BEGUN = "fill.begun", _("a fill has begun")
    FILL_ENDED = "fill.ended", _("a pool is full")
    TEST = "test", _("a test")


class Hook(TenantModel):
    """An address of another system that is told of events. Its secret is derived and shown once, never stored."""

    url = models.CharField(max_length=400)
    events = ArrayField(models.CharField(max_length=16, choices=HookEvent.choices))
    generation = models.PositiveIntegerField(default=1)
    key_mark = models.CharField(max_length=16, default=present_mark, db_default="", help_text="Which key it follows.")
    active = models.BooleanField(default=True)
    made_by = models.CharField(max_length=120, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta(TenantModel.Meta):
        abstract = False

    def __str__(self) -> str:
        return self.url

    @property
    def secret(self) -> str:
        """32 bytes that follow from the row, its generation and the installation's key."""
        key = key_marked(self.key_mark)
        digest = hmac.new(key, f"hook:{self.id}:{self.generation}".encode(), hashlib.sha256).digest()
        return base64.urlsafe_b64encode(digest).rstrip(b"=").decode()


class HookCall(Outgoing, TenantModel):
    """One event for one address: once by its natural key (hook, event, cause)."""

    hook = TenantForeignKey(Hook, on_delete=models.CASCADE, related_name="calls")
    event = models.CharField(max_length=16, choices=HookEvent.choices)
    cause = models.CharField(max_length=120)
    body = models.TextField(help_text="The bytes that are signed and sent, as JSON.")

    class Meta(TenantModel.Meta):
        abstract = False
        constraints = [
            models.UniqueConstraint(fields=["contractor", "hook", "event", "cause"], name="scheduling_hookcall_once"),
        ]
        indexes = [
            models.Index(fields=["contractor", "state", "next_try_at"], name="scheduling_hookcall_next"),
            models.Index(fields=["contractor", "hook", "-made_at"], name="scheduling_hookcall_made"),
        ]

    def __str__(self) -> str:
        return f"{self.event} {self.cause}"
