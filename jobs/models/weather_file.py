from __future__ import annotations

from django.db import models

from shared.tenancy.models import TenantModel


class WeatherFile(TenantModel):
    """A firm's own hours of weather, as it brought them: a past year, or observations to compare forecasts with."""

    name = models.CharField(max_length=80)
    file_name = models.CharField(max_length=200, blank=True)
    latitude = models.FloatField()
    longitude = models.FloatField()
    starts = models.DateTimeField()
    count = models.PositiveIntegerField(help_text="Hours.")
    missing_h = models.PositiveIntegerField(default=0, help_text="Hours without a needed value.")
    arrays = models.BinaryField(help_text="numpy archive of float32 arrays, one a quantity")
    fingerprint = models.CharField(max_length=64)
    kept_at = models.DateTimeField()
    kept_by = models.CharField(max_length=120)

    class Meta(TenantModel.Meta):
        abstract = False
        constraints = [models.UniqueConstraint(fields=["contractor", "fingerprint"], name="jobs_weatherfile_once")]

    def __str__(self) -> str:
        return self.name
