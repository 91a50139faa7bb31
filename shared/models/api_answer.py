from __future__ import annotations

from django.db import models

from shared.models.membership import Membership
from shared.tenancy.models import TenantForeignKey, TenantModel


class ApiAnswer(TenantModel):
    """The answer to a POST with an Idempotency-Key, kept for a day: sent again, it is given again."""

    member = TenantForeignKey(Membership, on_delete=models.CASCADE, related_name="api_answers")
    key = models.CharField(max_length=255)
    fingerprint = models.CharField(max_length=64, help_text="SHA-256 of method, address and body.")
    status = models.PositiveSmallIntegerField(default=0)
    headers = models.JSONField(default=dict)
    body = models.JSONField(null=True)
    created_at = models.DateTimeField()

    class Meta(TenantModel.Meta):
        abstract = False
        constraints = [models.UniqueConstraint(fields=["contractor", "member", "key"], name="shared_apianswer_once")]

    def __str__(self) -> str:
        return f"answer {self.status} to {self.key}"
