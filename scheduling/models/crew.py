from __future__ import annotations

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.utils.translation import gettext_lazy as _

from shared.models import Membership
from shared.tenancy.models import TenantForeignKey, TenantModel


class Skill(models.TextChoices):
    WATER = "water", _("water")
    PREP = "prep", _("prep")
    PLASTER = "plaster", _("plaster")


class Crew(TenantModel):
    """People who work together: skills, base, shifts."""

    name = models.CharField(max_length=80)
    skills = ArrayField(models.CharField(max_length=12, choices=Skill.choices))
    people = models.PositiveSmallIntegerField(default=2)
    lead = TenantForeignKey(Membership, on_delete=models.SET_NULL, null=True, blank=True, related_name="crews")
    branch = models.CharField(max_length=40, default="main", help_text="Crews serve the sites of their branch.")
    latitude = models.FloatField()
    longitude = models.FloatField()
    active = models.BooleanField(default=True)

    class Meta(TenantModel.Meta):
        abstract = False
        constraints = [models.UniqueConstraint(fields=["contractor", "name"], name="scheduling_crew_name")]

    def __str__(self) -> str:
        return self.name


class Shift(TenantModel):
    """Working hours of a crew on one weekday (0 = Monday), in minutes of the local day."""

    crew = TenantForeignKey(Crew, on_delete=models.CASCADE, related_name="shifts")
    weekday = models.PositiveSmallIntegerField()
    from_min = models.PositiveSmallIntegerField()
    to_min = models.PositiveSmallIntegerField()

    class Meta(TenantModel.Meta):
        abstract = False
        ordering = ["weekday", "from_min"]

    def __str__(self) -> str:
        return f"day {self.weekday}: {self.from_min // 60}-{self.to_min // 60} h"


class Absence(TenantModel):
    """Days on which a crew does not work."""

    crew = TenantForeignKey(Crew, on_delete=models.CASCADE, related_name="absences")
    first_day = models.DateField()
    last_day = models.DateField()
    reason = models.CharField(max_length=120, blank=True)

    class Meta(TenantModel.Meta):
        abstract = False
        indexes = [models.Index(fields=["contractor", "crew", "first_day"], name="scheduling_absence_days")]

    def __str__(self) -> str:
        return f"{self.first_day} to {self.last_day}"
