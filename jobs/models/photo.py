from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from jobs.models.site import Pool
from jobs.models.survey import Survey
from shared.tenancy.models import TenantForeignKey, TenantModel


class Photo(TenantModel):
    """A photo of a pool as the service drew it anew; both files lie in the contractor's own folder."""

    pool = TenantForeignKey(Pool, on_delete=models.PROTECT, related_name="photos")
    survey = TenantForeignKey(Survey, on_delete=models.SET_NULL, null=True, related_name="photos")
    file = models.CharField(max_length=200, help_text="Where the photo lies in the store of files.")
    small_file = models.CharField(max_length=200, help_text="Where its small copy lies.")
    sha256 = models.CharField(max_length=64, help_text="Of the photo as it is kept.")
    sent_sha256 = models.CharField(max_length=64, help_text="Of what was sent, so that nothing is kept twice.")
    size = models.PositiveIntegerField(help_text="Bytes of the photo as it is kept.")
    width = models.PositiveSmallIntegerField()
    height = models.PositiveSmallIntegerField()
    words = models.CharField(_("what it shows"), max_length=120, blank=True)
    added_at = models.DateTimeField()
    added_by = models.CharField(max_length=120)

    class Meta(TenantModel.Meta):
        abstract = False
        constraints = [
            models.UniqueConstraint(fields=["contractor", "pool", "sent_sha256"], name="jobs_photo_once"),
        ]
        indexes = [models.Index(fields=["contractor", "pool", "added_at"], name="jobs_photo_of_pool")]

    def __str__(self) -> str:
        return self.words or f"photo of {self.added_at:%Y-%m-%d}"
