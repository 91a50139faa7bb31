from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from jobs.models.job import Job
from shared.tenancy.models import TenantForeignKey, TenantModel


class Measured(models.TextChoices):
    DRAIN_SETUP = "drain_setup", _("setting up the pump")
    DRAIN_PULL = "drain_pull", _("pulling the pump")
    PREP = "prep", _("chip and prep")
    BOND = "bond", _("bond coat")
    LAYING = "laying", _("laying plaster")
    FILL_START = "fill_start", _("starting a fill")
    SET = "set", _("set time of the mix")


class Outcome(TenantModel):
    """What something on a job took, beside what the figures in force expect of it, own work left out of them."""

    job = TenantForeignKey(Job, on_delete=models.PROTECT, related_name="outcomes")
    stint_id = models.UUIDField()
    what = models.CharField(max_length=16, choices=Measured.choices)
    at = models.DateTimeField()
    by = models.CharField(max_length=120, blank=True)
    expected_h = models.FloatField(help_text="Hours by the figures in force, without what was learned.")
    planned_h = models.FloatField(null=True, help_text="Hours that the plan had set aside.")
    took_h = models.FloatField()
    data = models.JSONField(default=dict, blank=True)
    left_out = models.CharField(max_length=160, blank=True, help_text="Why it does not count.")

    class Meta(TenantModel.Meta):
        abstract = False
        constraints = [models.UniqueConstraint(fields=["contractor", "stint_id", "what"], name="jobs_outcome_once")]
        indexes = [models.Index(fields=["contractor", "what", "-at"], name="jobs_outcome_latest")]

    def __str__(self) -> str:
        return f"{self.get_what_display()}: {self.took_h:.1f} h, expected {self.expected_h:.1f} h"


class LearningReset(TenantModel):
    """From this moment on only newer outcomes count; what was before stays on record."""

    what = models.CharField(max_length=16, choices=Measured.choices)
    at = models.DateTimeField()
    by = models.CharField(max_length=120)
    why = models.CharField(max_length=160, blank=True)

    class Meta(TenantModel.Meta):
        abstract = False
        indexes = [models.Index(fields=["contractor", "what", "-at"], name="jobs_learningreset_latest")]

    def __str__(self) -> str:
        return f"{self.get_what_display()} learned anew from {self.at:%Y-%m-%d}"
