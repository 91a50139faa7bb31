from __future__ import annotations

import zoneinfo

from django.db import models
from django.utils.translation import gettext_lazy as _

from shared.models.contractor import known_zone
from shared.tenancy.models import TenantForeignKey, TenantModel


class PoolOwner(TenantModel):
    """The person the fill day is promised to."""

    name = models.CharField(max_length=120)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    language = models.CharField(max_length=8, choices=[("en", "English"), ("es", "Español")], default="en")
    wants_notices = models.BooleanField(default=True)

    def __str__(self) -> str:
        return self.name


class Site(TenantModel):
    """Where a pool is: position, zone, quiet hours, water in and out."""

    label = models.CharField(max_length=120)
    address = models.CharField(max_length=240, blank=True)
    branch = models.CharField(max_length=40, default="main", help_text="The branch whose crews work here.")
    latitude = models.FloatField()
    longitude = models.FloatField()
    zone = models.CharField(max_length=64, validators=[known_zone])
    archive = models.CharField(max_length=40, blank=True, help_text="Bundled weather file; empty: a forecast source")
    quiet_until_min = models.PositiveSmallIntegerField(default=420, help_text="Quiet until this minute of the day.")
    quiet_from_min = models.PositiveSmallIntegerField(default=1140, help_text="Quiet from this minute of the day.")
    hose_flow_l_min = models.FloatField(default=40.0, help_text="Measured with a bucket, or from the pressure.")
    hose_flow_measured = models.BooleanField(default=False)
    hoses = models.PositiveSmallIntegerField(default=1)
    discharge_limit_l_min = models.FloatField(default=150.0)
    high_groundwater = models.BooleanField(default=False)
    notes = models.TextField(blank=True)

    def __str__(self) -> str:
        return self.label

    @property
    def tz(self) -> zoneinfo.ZoneInfo:
        return zoneinfo.ZoneInfo(self.zone)

    @property
    def fill_flow_l_min(self) -> float:
        return self.hose_flow_l_min * self.hoses


class Shape(models.TextChoices):
    RECTANGLE = "rectangle", _("rectangle")
    CIRCLE = "circle", _("circle")
    ELLIPSE = "ellipse", _("ellipse")
    STADIUM = "stadium", _("stadium (straight sides, round ends)")
    OUTLINE = "outline", _("outline, point by point")


class Pool(TenantModel):
    """Measured shape of a pool, SI. What follows from it (surface, volume) is computed, never stored."""

    site = TenantForeignKey(Site, on_delete=models.PROTECT, related_name="pools")
    shape = models.CharField(max_length=12, choices=Shape.choices, default=Shape.RECTANGLE)
    length_m = models.FloatField(null=True)
    width_m = models.FloatField(null=True)
    points_m = models.JSONField(default=list, blank=True, help_text="[[x, y], ...] of an outline")
    profile = models.JSONField(default=list, help_text="[[distance_m, depth_m], ...] along the axis")
    axis_deg = models.FloatField(default=0.0)
    tile_band_m = models.FloatField(default=0.3)
    cove_radius_m = models.FloatField(default=0.0)
    steps = models.JSONField(default=list, blank=True, help_text="[[width_m, rise_m, tread_m, count], ...]")
    benches = models.JSONField(default=list, blank=True, help_text="[[length_m, depth_m, height_m], ...]")
    fittings_m2 = models.FloatField(default=0.0)
    built_year = models.PositiveSmallIntegerField(null=True)

    def __str__(self) -> str:
        return f"{self.get_shape_display()} at {self.site}"
