from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from shared.tenancy.models import TenantModel


class Units(models.TextChoices):
    US = "us", _("US units")
    METRIC = "metric", _("metric units")


class Firm(TenantModel):
    """A contractor's own settings: units, limits, rates, mixes, equipment and words. One row a contractor."""

    units = models.CharField(max_length=8, choices=Units.choices, default=Units.US)
    contact_name = models.CharField(max_length=120, blank=True)
    phone = models.CharField(max_length=40, blank=True)
    pumps = models.PositiveSmallIntegerField(default=2)
    rigs = models.PositiveSmallIntegerField(default=1)
    limits = models.JSONField(default=dict, blank=True, help_text="Own weather limits by name; absent: the default.")
    rates = models.JSONField(default=dict, blank=True, help_text="Own production rates by name; absent: the default.")
    weights = models.JSONField(default=dict, blank=True, help_text="Planner weights by name; absent: the default.")
    likelihoods = models.JSONField(default=dict, blank=True, help_text="Own likelihoods of the survey.")
    start_up = models.JSONField(
        default=dict,
        db_default={},
        blank=True,
        help_text="Own figures of the first month by name; absent: the default.",
    )
    words = models.JSONField(default=dict, blank=True, help_text="The firm's own sentences, by place.")
    weather_source = models.CharField(max_length=24, blank=True, default="", help_text="Empty: the installation's.")
    second_factor = models.BooleanField(
        default=False, db_default=False, help_text="Managers need a second factor at the login."
    )
    demo_shift = models.BooleanField(default=False, help_text="Demonstration: dates are mapped to the typical year.")

    class Meta(TenantModel.Meta):
        abstract = False
        constraints = [models.UniqueConstraint(fields=["contractor"], name="shared_firm_once")]

    def __str__(self) -> str:
        return f"settings of {self.contractor_id}"

    @property
    def source(self) -> str:
        """Weather source in force: the firm's own choice, else the installation's."""
        return self.weather_source or settings.WEATHER_SOURCE

    @property
    def metric(self) -> bool:
        return self.units == Units.METRIC
