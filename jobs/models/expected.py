from __future__ import annotations

from django.db import models

from jobs.models.job import Job
from shared.tenancy.models import TenantForeignKey, TenantModel


class ExpectedDates(TenantModel):
    """Allowed starts, lengths and waits of each day ahead, and the fill band. Recomputed when an input changed."""

    job = TenantForeignKey(Job, on_delete=models.CASCADE, related_name="expected")
    fingerprint = models.CharField(max_length=64, help_text="Of every input; equal inputs are not computed twice.")
    computed_at = models.DateTimeField()
    weather_issued_at = models.DateTimeField()
    weather_source = models.CharField(max_length=80)
    first_day = models.DateField(help_text="Day 0 of the rows.")
    rows = models.JSONField(help_text="Planner rows: bond_days, plaster_days, fill_days, lengths in slots.")
    verdicts = models.JSONField(default=list, help_text="Per day: can plaster, doubtful, cannot; with the reason.")
    band = models.JSONField(null=True, help_text="p10 p50 p80 p90 as dates, chance of each day, share later.")
    seed = models.PositiveBigIntegerField(default=0)

    class Meta(TenantModel.Meta):
        abstract = False
        constraints = [models.UniqueConstraint(fields=["contractor", "job"], name="jobs_expected_once")]

    def __str__(self) -> str:
        return f"expected dates of {self.computed_at:%Y-%m-%d %H:%M}"


class BandPoint(TenantModel):
    """How the fill band stood at one time, kept to show how it moved since promised."""

    job = TenantForeignKey(Job, on_delete=models.CASCADE, related_name="band_points")
    at = models.DateTimeField()
    p10 = models.DateField(null=True)
    p50 = models.DateField(null=True)
    p80 = models.DateField(null=True)
    p90 = models.DateField(null=True)
    why = models.CharField(max_length=160, blank=True)

    class Meta(TenantModel.Meta):
        abstract = False
        indexes = [models.Index(fields=["contractor", "job", "at"], name="jobs_bandpoint_at")]

    def __str__(self) -> str:
        return f"band of {self.at:%Y-%m-%d}"
