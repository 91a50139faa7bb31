from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from shared.tenancy.models import TenantModel


class Role(models.TextChoices):
    OFFICE = "office", _("office")
    CREW_LEAD = "crew_lead", _("crew lead")
    MANAGER = "manager", _("manager")


class Membership(TenantModel):
    """A person in a firm with one role. A second policy lets a person see their own memberships everywhere."""

    person = models.ForeignKey("shared.Person", on_delete=models.CASCADE, related_name="memberships")
    role = models.CharField(max_length=12, choices=Role.choices)
    active = models.BooleanField(default=True)
    joined_at = models.DateTimeField(auto_now_add=True)
    sessions_ended_at = models.DateTimeField(null=True, help_text="Log-ins of before open nothing any more.")

    of_person = models.Manager()  # across firms: the policy shows a person their own rows only

    class Meta(TenantModel.Meta):
        abstract = False
        constraints = [
            models.UniqueConstraint(fields=["contractor", "person"], name="shared_membership_once"),
        ]

    def __str__(self) -> str:
        return f"{self.person} ({self.get_role_display()})"

    @property
    def is_office(self) -> bool:
        """Managers may do what the office does."""
        return self.role in (Role.OFFICE, Role.MANAGER)

    @property
    def is_manager(self) -> bool:
        return self.role == Role.MANAGER
