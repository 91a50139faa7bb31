from __future__ import annotations

from typing import Final

from django.db import models

from shared.ids import uuid7

CELL_DEG: Final = 0.05


class WeatherCell(models.Model):
    """A square of 0.05 degrees in one weather source. Shared by all contractors; holds nothing of theirs."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    source = models.CharField(
        max_length=60, help_text="archive:<file>:<shift in days>, nws, open-meteo or open-meteo-ensemble"
    )
    latitude = models.DecimalField(max_digits=5, decimal_places=2)
    longitude = models.DecimalField(max_digits=6, decimal_places=2)
    created_at = models.DateTimeField(auto_now_add=True)
    place = models.JSONField(null=True, help_text="Where the source keeps this cell, as it said when first asked.")
    validators = models.JSONField(default=dict, help_text="What the source said about its last answer.")
    asked_at = models.DateTimeField(null=True)
    failure = models.CharField(max_length=240, blank=True, help_text="Why the last answer could not be used.")
    used_on = models.DateField(null=True, help_text="Last day on which a job asked for this cell.")
    errors = models.JSONField(null=True, help_text="How wrong its forecasts are, learned; null: the defaults.")
    errors_at = models.DateTimeField(null=True, help_text="When that was last learned.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["source", "latitude", "longitude"], name="jobs_weathercell_once"),
        ]

    def __str__(self) -> str:
        return f"{self.source} {self.latitude} {self.longitude}"


class WeatherHours(models.Model):
    """Hours of one cell as arrays: one forecast issue, the latest kept as the basis of expected dates."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    cell = models.ForeignKey(WeatherCell, on_delete=models.CASCADE, related_name="hours")
    kind = models.CharField(max_length=12, default="forecast")
    issued_at = models.DateTimeField()
    fetched_at = models.DateTimeField()
    starts = models.DateTimeField()
    count = models.PositiveIntegerField()
    arrays = models.BinaryField(help_text="numpy archive of float32 arrays, one a quantity")
    fingerprint = models.CharField(max_length=64)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["cell", "kind", "issued_at"], name="jobs_weatherhours_once"),
        ]
        indexes = [models.Index(fields=["cell", "kind", "-issued_at"], name="jobs_weatherhours_latest")]

    def __str__(self) -> str:
        return f"{self.kind} of {self.cell} issued {self.issued_at:%Y-%m-%d %H:%M}"


class ForecastKept(models.Model):
    """One forecast of a cell kept to be compared with what came: hours from 06 UTC of one day, packed small."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    cell = models.ForeignKey(WeatherCell, on_delete=models.CASCADE, related_name="forecasts_kept")
    starts = models.DateTimeField(help_text="06 UTC; the latest issue before it is kept.")
    issued_at = models.DateTimeField()
    count = models.PositiveIntegerField(help_text="Hours.")
    said = models.BinaryField(help_text="The forecast: whole steps of each quantity, compressed.")
    came = models.BinaryField(null=True, help_text="The same hours as they came, once all of them are over.")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["cell", "starts"], name="jobs_forecastkept_once")]

    def __str__(self) -> str:
        return f"forecast of {self.cell} from {self.starts:%Y-%m-%d %H:%M}"
