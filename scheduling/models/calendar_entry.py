from __future__ import annotations

from typing import Final

from django.db import models

from jobs.models import Job
from shared.tenancy.models import TenantForeignKey, TenantModel

FILL: Final = "fill"  # key of the all-day entry of the fill day
OWNER: Final = "owner_"  # begins the keys of all-day entries of the pool owner's first month; all others are stints'


class CalendarEntry(TenantModel):
    """What a subscriber sees of one thing: its id stays for life, its sequence rises only on a real change."""

    job = TenantForeignKey(Job, on_delete=models.CASCADE, related_name="calendar_entries")
    key = models.CharField(max_length=40, help_text="fill, prep, plaster ... of the job")
    uid = models.CharField(max_length=80, unique=True)
    sequence = models.PositiveIntegerField(default=0)
    fingerprint = models.CharField(max_length=64)
    crew_id = models.UUIDField(null=True)
    starts = models.DateTimeField(null=True)
    ends = models.DateTimeField(null=True)
    day = models.DateField(null=True, help_text="All-day entries: the fill day.")
    facts = models.JSONField(default=dict)
    confirmed = models.BooleanField(default=False)
    created_at = models.DateTimeField()
    changed_at = models.DateTimeField()
    cancelled_at = models.DateTimeField(null=True)

    class Meta(TenantModel.Meta):
        abstract = False
        constraints = [models.UniqueConstraint(fields=["contractor", "job", "key"], name="scheduling_entry_once")]
        indexes = [models.Index(fields=["contractor", "crew_id"], name="scheduling_entry_crew")]

    def __str__(self) -> str:
        return self.uid
