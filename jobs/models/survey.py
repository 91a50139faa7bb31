from __future__ import annotations

from django.db import models

from jobs.models.job import Job
from jobs.models.site import Pool
from shared.tenancy.models import TenantForeignKey, TenantModel


class Survey(TenantModel):
    """One visit: what was seen, felt, tapped and measured. A dry survey is made in the empty pool."""

    pool = TenantForeignKey(Pool, on_delete=models.PROTECT, related_name="surveys")
    taken_at = models.DateTimeField()
    taken_by = models.CharField(max_length=120)
    dry = models.BooleanField(default=False)
    notes = models.TextField(blank=True)

    class Meta(TenantModel.Meta):
        abstract = False
        indexes = [models.Index(fields=["contractor", "pool", "-taken_at"], name="jobs_survey_latest")]

    def __str__(self) -> str:
        return f"survey of {self.taken_at:%Y-%m-%d}"


class Observation(TenantModel):
    """One observation of a survey, by its name in the catalogue."""

    survey = TenantForeignKey(Survey, on_delete=models.CASCADE, related_name="observations")
    name = models.CharField(max_length=40)
    value = models.JSONField()
    made_at = models.DateTimeField()

    class Meta(TenantModel.Meta):
        abstract = False
        constraints = [
            models.UniqueConstraint(fields=["contractor", "survey", "name"], name="jobs_observation_once"),
        ]

    def __str__(self) -> str:
        return f"{self.name}: {self.value}"


class Scope(TenantModel):
    """What will be taken off and put on, as agreed with the pool owner. The newest one counts."""

    job = TenantForeignKey(Job, on_delete=models.CASCADE, related_name="scopes")
    survey = TenantForeignKey(Survey, on_delete=models.PROTECT, related_name="scopes")
    kind = models.CharField(max_length=24)
    strip_share = models.FloatField(help_text="Share of the surface taken to the shell, 0 to 1.")
    coats_off = models.PositiveSmallIntegerField(default=1)
    painted = models.BooleanField(default=False)
    repairs_h = models.FloatField(default=0.0)
    decided = models.JSONField(default=dict, help_text="What decided it, what would change it, the other outcomes.")
    provisional = models.BooleanField(default=True)
    overruled = models.CharField(max_length=240, blank=True, help_text="Why the office chose another scope.")
    agreed_at = models.DateTimeField()
    agreed_by = models.CharField(max_length=120)

    class Meta(TenantModel.Meta):
        abstract = False
        indexes = [models.Index(fields=["contractor", "job", "-agreed_at"], name="jobs_scope_latest")]

    def __str__(self) -> str:
        return f"{self.kind} agreed {self.agreed_at:%Y-%m-%d}"
