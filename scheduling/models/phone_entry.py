from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from jobs.models import Job
from shared.tenancy.models import TenantForeignKey, TenantModel


class Outcome(models.TextChoices):
    KEPT = "kept", _("kept")
    SET_ASIDE = "set_aside", _("set aside")


class PhoneEntry(TenantModel):
    """What a phone logged and sent later: taken once by the id the phone made, with the answer it was given.

    `at` is the moment of the tap by the phone's clock, put right by what that clock was off when it sent.
    What a person set aside in a conflict stays here as it was typed.
    """

    client_id = models.UUIDField()
    person_id = models.UUIDField()
    by = models.CharField(max_length=120)
    job = TenantForeignKey(Job, on_delete=models.PROTECT, related_name="phone_entries", null=True)
    address = models.CharField(max_length=200)
    said = models.CharField(max_length=240, blank=True, help_text="The entry in words, as the phone showed it.")
    fields = models.JSONField(default=list)
    digest = models.CharField(max_length=64)
    at = models.DateTimeField()
    taken_at = models.DateTimeField()
    outcome = models.CharField(max_length=12, choices=Outcome.choices, default=Outcome.KEPT)
    answer = models.JSONField(default=dict)

    class Meta(TenantModel.Meta):
        abstract = False
        constraints = [models.UniqueConstraint(fields=["contractor", "client_id"], name="scheduling_phone_once")]
        indexes = [models.Index(fields=["contractor", "job", "at"], name="scheduling_phone_at")]

    def __str__(self) -> str:
        return f"{self.said} ({self.get_outcome_display()})"
