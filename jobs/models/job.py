from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from jobs.models.site import Pool, PoolOwner, Site
from shared.tenancy.models import TenantForeignKey, TenantModel


class JobState(models.TextChoices):
    SURVEYED = "surveyed", _("surveyed")
    SCOPE_AGREED = "scope_agreed", _("scope agreed")
    DATE_PROMISED = "date_promised", _("date promised")
    UNDER_WAY = "under_way", _("under way")
    FILLING = "filling", _("filling")
    FIRST_MONTH = "first_month", _("first month")
    FINISHED = "finished", _("finished")
    CALLED_OFF = "called_off", _("called off")


BEFORE_FILL = (JobState.SURVEYED, JobState.SCOPE_AGREED, JobState.DATE_PROMISED, JobState.UNDER_WAY)


class Finish(models.TextChoices):
    WHITE = "white", _("white plaster")
    MID = "mid", _("mid-grey plaster")
    GREY = "grey", _("grey plaster")
    DARK = "dark", _("dark plaster")
    PEBBLE = "pebble", _("exposed aggregate")


class StartUp(models.TextChoices):
    TRADITIONAL = "traditional", _("traditional")
    HIGH_ALKALINITY = "high_alkalinity", _("high alkalinity")
    ACID = "acid", _("acid (contested; needs a signature)")


class Job(TenantModel):
    """One pool to be resurfaced for one pool owner."""

    number = models.PositiveIntegerField()
    site = TenantForeignKey(Site, on_delete=models.PROTECT, related_name="jobs")
    pool = TenantForeignKey(Pool, on_delete=models.PROTECT, related_name="jobs")
    pool_owner = TenantForeignKey(PoolOwner, on_delete=models.PROTECT, related_name="jobs")
    state = models.CharField(max_length=16, choices=JobState.choices, default=JobState.SURVEYED)
    finish = models.CharField(max_length=12, choices=Finish.choices, default=Finish.WHITE)
    start_up_method = models.CharField(max_length=16, choices=StartUp.choices, default=StartUp.TRADITIONAL)
    weight = models.PositiveSmallIntegerField(default=1, help_text="How much a late day counts, 1 to 9.")
    earliest_date = models.DateField(null=True, help_text="No work before this day.")
    promised_date = models.DateField(null=True, help_text="The fill day told to the pool owner.")
    promised_at = models.DateTimeField(null=True)
    promised_band = models.JSONField(null=True, help_text="The band as it stood when the date was promised.")
    filled_on = models.DateField(null=True)
    someone_home = models.BooleanField(null=True, help_text="The pool owner's answer for the fill day.")
    notes = models.TextField(blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    version = models.PositiveIntegerField(default=1)

    class Meta(TenantModel.Meta):
        abstract = False
        constraints = [models.UniqueConstraint(fields=["contractor", "number"], name="jobs_job_number")]
        indexes = [models.Index(fields=["contractor", "state"], name="jobs_job_state")]

    def __str__(self) -> str:
        return f"{self.number} · {self.site}"

    @property
    def fill_ahead(self) -> bool:
        """The fill has not begun: its day is still expected, and the fill band counts until then."""
        return self.state in BEFORE_FILL

    @property
    def is_open(self) -> bool:
        return self.state not in (JobState.FINISHED, JobState.CALLED_OFF)
