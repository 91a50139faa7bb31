"""Photos of a pool: kept under the contractor, removed with a line in the trail."""

from __future__ import annotations

import datetime as dt
from typing import Final

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from django.utils.translation import gettext as _

from jobs.adapters.pictures import Picture, PictureRefused, picture
from jobs.models import Photo, Pool, Survey
from shared.ids import uuid7
from shared.models import Membership
from shared.services.audit import audit_note

MOST_PHOTOS: Final = 80


def photo_add(
    pool: Pool,
    *,
    sent: bytes,
    by: Membership | str,
    at: dt.datetime,
    survey: Survey | None = None,
    words: str = "",
    total: int | None = None,
) -> Photo:
    """Keep a photo; one that is there already is not kept twice.

    Files are written before the row: a process that dies in between leaves a file nobody sees, never a row without.
    """
    try:
        found = picture(sent, total=total)
    except PictureRefused as refused:
        raise ValidationError(str(refused)) from refused
    with transaction.atomic():
        Pool.objects.select_for_update(no_key=True).get(pk=pool.pk)  # counted one after the other
        present = Photo.objects.filter(pool=pool, sent_sha256=found.sent_sha256).first()
        if present is not None:
            return present
        if Photo.objects.filter(pool=pool).count() >= MOST_PHOTOS:
            raise ValidationError(
                _("The pool has %(count)s photos; allowed are up to %(count)s. Remove one first.")
                % {"count": MOST_PHOTOS}
            )
        return _kept(pool, found, by=by, at=at, survey=survey, words=words)


def _kept(
    pool: Pool, found: Picture, *, by: Membership | str, at: dt.datetime, survey: Survey | None, words: str
) -> Photo:
    name = by if isinstance(by, str) else by.person.name
    photo = Photo(
        id=uuid7(),
        contractor_id=pool.contractor_id,
        pool=pool,
        survey=survey,
        sha256=found.sha256,
        sent_sha256=found.sent_sha256,
        size=len(found.data),
        width=found.width,
        height=found.height,
        words=words.strip(),
        added_at=at,
        added_by=name,
    )
    folder = f"photos/{photo.contractor_id}"
    photo.file = default_storage.save(f"{folder}/{photo.pk}.jpg", ContentFile(found.data))
    photo.small_file = default_storage.save(f"{folder}/{photo.pk}-small.jpg", ContentFile(found.small))
    try:
        photo.full_clean(exclude=["contractor", "pool", "survey"], validate_constraints=False)
        photo.save(force_insert=True)
        audit_note(by, "photo added", photo, after=_facts(photo))
    except Exception:
        _forget(photo.file, photo.small_file)
        raise
    return photo


@transaction.atomic
def photo_remove(photo: Photo, *, by: Membership | str) -> None:
    """Remove a photo for good; its files go when the removal is certain."""
    audit_note(by, "photo removed", photo, before=_facts(photo))
    names = (photo.file, photo.small_file)
    photo.delete()
    transaction.on_commit(lambda: _forget(*names))


def _facts(photo: Photo) -> dict[str, str | int]:
    """What the trail keeps of a photo, also after it is gone."""
    return {"what": photo.words, "pool": str(photo.pool_id), "sha256": photo.sha256, "size": photo.size}


def _forget(*names: str) -> None:
    for name in names:
        default_storage.delete(name)
