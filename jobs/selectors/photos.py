from __future__ import annotations

from jobs.models import Photo, Pool


def photos_of(pool: Pool) -> list[Photo]:
    """Photos of a pool with their surveys, newest first."""
    return list(Photo.objects.filter(pool=pool).select_related("survey").order_by("-added_at", "-id"))
