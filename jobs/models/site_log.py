from __future__ import annotations

import uuid

from django.db import models
from django.utils.translation import gettext_lazy as _

from jobs.models.job import Job
from shared.tenancy.models import TenantForeignKey, TenantModel


class LogKind(models.TextChoices):
    BEGUN = "begun", _("begun")
    DONE = "done", _("done")
    DIFFERENT = "different", _("found different")
    LAID = "laid", _("section laid")
    PASS = "pass", _("trowel pass done")
    READING = "reading", _("material temperature")
    LEVEL = "level", _("water level")
    HOSE = "hose", _("hose moved or stopped")
    BRUSHED = "brushed", _("brushed")
    GROUNDWATER = "groundwater", _("groundwater record")
    NOTE = "note", _("note")
    TAKEN_BACK = "taken_back", _("taken back")


class SiteLog(TenantModel):
    """What was done, found or measured on site. The phone makes the id, so each is taken once."""

    client_id = models.UUIDField(default=uuid.uuid4)
    job = TenantForeignKey(Job, on_delete=models.PROTECT, related_name="logs")
    stint_id = models.UUIDField(null=True)
    kind = models.CharField(max_length=12, choices=LogKind.choices)
    at = models.DateTimeField(help_text="When it happened, by the phone's clock.")
    taken_at = models.DateTimeField(auto_now_add=True)
    by = models.CharField(max_length=120)
    data = models.JSONField(default=dict)

    class Meta(TenantModel.Meta):
        abstract = False
        constraints = [models.UniqueConstraint(fields=["contractor", "client_id"], name="jobs_sitelog_once")]
        indexes = [models.Index(fields=["contractor", "job", "at"], name="jobs_sitelog_at")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} at {self.at:%Y-%m-%d %H:%M}"


class WaterTest(TenantModel):
    """Readings of the water and what was advised from them."""

    client_id = models.UUIDField(default=uuid.uuid4)
    job = TenantForeignKey(Job, on_delete=models.PROTECT, related_name="water_tests")
    at = models.DateTimeField()
    by = models.CharField(max_length=120)
    temp_c = models.FloatField()
    ph = models.FloatField()
    calcium_hardness_mg_l = models.FloatField()
    total_alkalinity_mg_l = models.FloatField()
    tds_mg_l = models.FloatField()
    cyanuric_acid_mg_l = models.FloatField(default=0.0)
    free_chlorine_mg_l = models.FloatField(null=True)
    index = models.FloatField(null=True)
    doubted = models.CharField(max_length=240, blank=True, help_text="Why the test is to be repeated.")
    advice = models.JSONField(default=dict)

    class Meta(TenantModel.Meta):
        abstract = False
        constraints = [models.UniqueConstraint(fields=["contractor", "client_id"], name="jobs_watertest_once")]
        indexes = [models.Index(fields=["contractor", "job", "at"], name="jobs_watertest_at")]

    def __str__(self) -> str:
        return f"water test of {self.at:%Y-%m-%d %H:%M}"


class Addition(TenantModel):
    """A chemical that was added to the water."""

    client_id = models.UUIDField(default=uuid.uuid4)
    job = TenantForeignKey(Job, on_delete=models.PROTECT, related_name="additions")
    at = models.DateTimeField()
    by = models.CharField(max_length=120)
    substance = models.CharField(max_length=24)
    amount_kg = models.FloatField(null=True)
    amount_l = models.FloatField(null=True)
    predicted = models.JSONField(default=dict)

    class Meta(TenantModel.Meta):
        abstract = False
        constraints = [models.UniqueConstraint(fields=["contractor", "client_id"], name="jobs_addition_once")]
        indexes = [models.Index(fields=["contractor", "job", "at"], name="jobs_addition_at")]

    def __str__(self) -> str:
        return f"{self.substance} at {self.at:%Y-%m-%d %H:%M}"
