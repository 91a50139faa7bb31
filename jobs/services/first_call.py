"""A first call becomes a site, a pool, a pool owner and a job."""

from __future__ import annotations

import datetime as dt
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max

from jobs.models import Job, Pool, PoolOwner, Site
from jobs.physics.validity import in_range
from jobs.selectors.pools import pool_figures
from jobs.selectors.sites import archive_near
from jobs.services.sites import site_check
from jobs.services.surveys import survey_record
from shared import clock
from shared.models import Contractor, Membership, TokenKind
from shared.services.audit import audit_note
from shared.services.tokens import token_for

FIRST_YEAR: Final = 1850
LAST_YEAR: Final = 2200


@transaction.atomic
def job_open(
    contractor: Contractor,
    *,
    by: Membership | str,
    pool_owner: dict[str, Any],
    site: dict[str, Any],
    pool: dict[str, Any],
    finish: str = "white",
    earliest_date: dt.date | None = None,
    notes: str = "",
    answers: dict[str, Any] | None = None,
) -> Job:
    """Open a job; everything is checked before anything is kept.

    *answers* are what the pool owner said on the telephone, by the names of the survey: its first observations.
    """
    owner = PoolOwner(contractor=contractor, **pool_owner)
    place = Site(contractor=contractor, **{"zone": contractor.zone, **site})
    measured = Pool(contractor=contractor, **pool)
    owner.full_clean(exclude=["contractor"])
    place.full_clean(exclude=["contractor"])
    site_check(place)
    if not place.archive:
        place.archive = archive_near(place)
    owner.save()
    place.save()
    measured.site = place
    pool_check(measured)
    measured.save()
    # One number after the other: the contractor's row is the lock.
    Contractor.objects.select_for_update(no_key=True).get(pk=contractor.pk)
    number = (Job.objects.aggregate(last=Max("number"))["last"] or 100) + 1
    job = Job(
        contractor=contractor,
        number=number,
        site=place,
        pool=measured,
        pool_owner=owner,
        finish=finish,
        earliest_date=earliest_date,
        notes=notes,
    )
    job.clean_fields(exclude={field.name for field in Job._meta.fields} - {"finish"})
    job.save()
    token_for(TokenKind.LINK, "pool_owner", job.pk)
    token_for(TokenKind.FEED, "pool_owner", job.pk)
    audit_note(by, "job opened", job, after={"number": number, "site": place.label})
    if answers:
        survey_record(measured, answers=answers, by=by, at=clock.now())
    return job


@transaction.atomic
def pool_measure(pool: Pool, *, by: Membership | str, **measures: Any) -> Pool:
    """Replace a pool's measures after its geometry accepted them."""
    before = {name: getattr(pool, name) for name in measures}
    for name, value in measures.items():
        setattr(pool, name, value)
    pool_check(pool)
    pool.save()
    audit_note(by, "pool measured", pool, before=before, after=measures)
    return pool


def pool_check(pool: Pool) -> None:
    """Refuse measures that make no pool, in the words of the geometry."""
    try:
        pool_figures(pool)
        if pool.built_year is not None:
            in_range("year in which the pool was built", pool.built_year, FIRST_YEAR, LAST_YEAR, "")
    except ValueError as refused:
        raise ValidationError(str(refused)) from refused
