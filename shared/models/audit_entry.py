from __future__ import annotations

from django.db import models

from shared.tenancy.models import TenantModel


class AuditEntry(TenantModel):
    """Who did what, from where, before and after. The service may add, never change or delete."""

    at = models.DateTimeField()
    who = models.CharField(max_length=160)
    what = models.CharField(max_length=64)
    subject = models.CharField(max_length=64)
    subject_id = models.UUIDField(null=True)
    before = models.JSONField(null=True)
    after = models.JSONField(null=True)
    origin = models.CharField(max_length=64, blank=True)

    class Meta(TenantModel.Meta):
        abstract = False
        indexes = [models.Index(fields=["contractor", "subject_id", "at"], name="shared_audit_subject")]

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M} {self.who}: {self.what}"
