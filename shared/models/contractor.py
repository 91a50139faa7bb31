from __future__ import annotations

import zoneinfo

from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext_lazy as _

from shared.ids import uuid7


def known_zone(value: str) -> None:
    """Refuse a zone that the IANA database does not hold."""
    try:
        zoneinfo.ZoneInfo(value)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError) as unknown:
        raise ValidationError(
            _("“%(value)s” is not a time zone; allowed are IANA names such as America/New_York."),
            params={"value": value},
        ) from unknown


class Contractor(models.Model):
    """A firm on this installation: the tenant. Not a tenant table itself."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    slug = models.SlugField(unique=True)
    name = models.CharField(max_length=120)
    zone = models.CharField(max_length=64, default="America/New_York", validators=[known_zone])
    created_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return self.name

    @property
    def tz(self) -> zoneinfo.ZoneInfo:
        return zoneinfo.ZoneInfo(self.zone)
