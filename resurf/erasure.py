"""A pool owner's personal data is erased on request; what was done, when and by whom stays in the audit trail."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.db import DEFAULT_DB_ALIAS, connection, connections
from django.utils.translation import gettext as _

from jobs.models import CELL_DEG, Job, Photo, Pool, PoolOwner, Site, SiteLog, Survey
from jobs.services.photos import photo_remove
from resurf.postgresql.base import DatabaseWrapper
from scheduling.models import CalendarEntry, Stint
from scheduling.models.notice import Mail, Notice, Receiver, ReceiverKind
from shared.models import AccessToken, AuditEntry, Contractor
from shared.services.audit import audit_note
from shared.services.tokens import token_revoke
from shared.tenancy.context import acting_for

ERASED: Final = "erased"
NOWHERE: Final = "erased@invalid"


def pool_owner_erase(contractor: Contractor, pool_owner: PoolOwner, *, by: str) -> dict[str, int]:
    """Erase name, address, contact, notes, mails and photos of a pool owner whose jobs are all over.

    Raises
    ------
    ValidationError
        While a job of the pool owner is open: the work needs to know whom to call.
    """
    with acting_for(contractor.pk):
        jobs = list(Job.objects.filter(pool_owner=pool_owner).select_related("site"))
        still = [job.number for job in jobs if job.is_open]
        if still:
            numbers = ", ".join(map(str, still))
            raise ValidationError(_("Job %(numbers)s is open: finish it or call it off first.") % {"numbers": numbers})
        sites = {job.site_id: job.site for job in jobs}
        if Job.objects.filter(site__in=sites).exclude(pool_owner=pool_owner).exists():
            sites = {}  # somebody else's home by now
        changed = {
            "pool owner": _owner(pool_owner),
            "jobs": Job.objects.filter(pool_owner=pool_owner).update(notes=""),
            "sites": _sites(sites.values()),
            "surveys": Survey.objects.filter(pool__site__in=sites).update(notes=""),
            "logs": _logs(jobs),
            "mails": _mails(pool_owner, jobs),
            "links": _links(jobs),
            "photos": _photos(sites, by),
        }
        about = [pool_owner.pk, *sites, *(job.pk for job in jobs)]
        about += Stint.objects.filter(job__in=jobs).values_list("pk", flat=True)
        about += Survey.objects.filter(pool__site__in=sites).values_list("pk", flat=True)
        pools = [str(pk) for pk in Pool.objects.filter(site__in=sites).values_list("pk", flat=True)]
        audit_note(by, "pool owner erased", pool_owner, after={name: count for name, count in changed.items() if count})
    changed["trail"] = _trail(contractor, about, pools)
    return changed


def _owner(pool_owner: PoolOwner) -> int:
    return PoolOwner.objects.filter(pk=pool_owner.pk).update(name=ERASED, email="", phone="", wants_notices=False)


def _sites(sites: Iterable[Site]) -> int:
    """What is left of a place: the square of the weather, which holds many homes."""
    count = 0
    for site in sites:
        number = Job.objects.filter(site=site).order_by("number").values_list("number", flat=True)[0]
        site.label, site.address, site.notes = f"Site of job {number}", "", ""
        site.latitude = round(round(site.latitude / CELL_DEG) * CELL_DEG, 2)
        site.longitude = round(round(site.longitude / CELL_DEG) * CELL_DEG, 2)
        site.save(update_fields=["label", "address", "notes", "latitude", "longitude"])
        count += 1
    return count


def _logs(jobs: list[Job]) -> int:
    """Readings stay, words go."""
    count = 0
    for log in SiteLog.objects.filter(job__in=jobs, data__has_key="text"):
        log.data = {name: value for name, value in log.data.items() if name != "text"}
        log.save(update_fields=["data"])
        count += 1
    return count


def _mails(pool_owner: PoolOwner, jobs: list[Job]) -> int:
    receivers = Receiver.objects.filter(kind=ReceiverKind.POOL_OWNER, subject_id=pool_owner.pk)
    receivers.update(refused_address="", refused_answer="")
    Notice.objects.filter(job__in=jobs).update(facts={})
    CalendarEntry.objects.filter(job__in=jobs).update(facts={})
    mails = Mail.objects.filter(receiver__in=receivers)
    return mails.update(to=NOWHERE, name="", subject=ERASED, text="", html="", answer="")


def _links(jobs: list[Job]) -> int:
    living = AccessToken.objects.filter(subject_id__in=[job.pk for job in jobs], revoked_at=None)
    for token in living:
        token_revoke(token)
    return len(living)


def _photos(sites: Any, by: str) -> int:
    photos = list(Photo.objects.filter(pool__site__in=sites))
    for photo in photos:
        photo_remove(photo, by=by)
    return len(photos)


def _trail(contractor: Contractor, about: list[Any], pools: list[str]) -> int:
    """Values of the trail are blanked by the owner of the table; when, who and what stay, as do the names of fields.

    The service's own role can do none of this.
    """
    database = connections[DEFAULT_DB_ALIAS]
    assert isinstance(database, DatabaseWrapper)
    table = AuditEntry._meta.db_table
    blank = "(SELECT jsonb_object_agg(key, %s::text) FROM jsonb_each({column}))"
    with database.as_owner(), acting_for(contractor.pk), connection.cursor() as cursor:
        before, after = blank.format(column="before"), blank.format(column="after")
        cursor.execute(
            f"UPDATE \"{table}\" SET before = CASE WHEN jsonb_typeof(before) = 'object' THEN {before} END,"
            f" after = CASE WHEN jsonb_typeof(after) = 'object' THEN {after} END"
            " WHERE (subject_id = ANY(%s) OR before->>'pool' = ANY(%s) OR after->>'pool' = ANY(%s))"
            " AND what <> 'pool owner erased'",
            [ERASED, ERASED, about, pools, pools],
        )
        return int(cursor.rowcount)
