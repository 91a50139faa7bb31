"""Whose rows an erasure is about: the pool owner, their jobs, and the sites that are nobody else's by now."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from jobs.models import Job, Outcome, Photo, Pool, PoolOwner, Scope, Site, SiteLog, Survey
from scheduling.models import Mail, Notice, PhoneEntry, Receiver, ReceiverKind, Stint
from shared.models import AccessToken, Firm

NAME_LEAST: Final = 5  # characters of a name of one word, or an ordinary word would be looked for everywhere
TEXT_LEAST: Final = 6


@dataclass(frozen=True)
class Extent:
    """Everything that is looked for, and what is left because it is somebody else's."""

    pool_owner: PoolOwner
    jobs: list[Job]
    sites: list[Site]
    left: list[Site] = field(default_factory=list)

    @property
    def open_numbers(self) -> list[int]:
        return [job.number for job in self.jobs if job.is_open]

    @property
    def receivers(self) -> list[uuid.UUID]:
        rows = Receiver.objects.filter(kind=ReceiverKind.POOL_OWNER, subject_id=self.pool_owner.pk)
        return list(rows.values_list("pk", flat=True))

    @property
    def words(self) -> list[str]:
        """What gives the person away wherever it was typed: name, e-mail, telephone, address, name of the site.

        Not what somebody else has too, or has as a part (a telephone of a management, a name, a street): it would be
        theirs that goes.
        """
        owner = self.pool_owner
        known = [owner.email, owner.phone, owner.name if len(owner.name) >= NAME_LEAST else ""]
        for site in self.sites:
            known += [site.address, *site.address.splitlines(), site.label]
        elsewhere = "\n".join(_plain(word) for word in self._of_others())
        wanted = {word.strip() for word in known if _plain(word) not in elsewhere}
        long = {word for word in wanted if len(word) >= TEXT_LEAST or word == owner.name.strip()}
        return sorted(long - {""}, key=len, reverse=True)  # the longer first: a street may be part of an address

    def _of_others(self) -> Iterator[str]:
        others = PoolOwner.objects.exclude(pk=self.pool_owner.pk)
        for facts in others.values_list("name", "email", "phone"):
            yield from facts
        for label, address in Site.objects.exclude(pk__in=[s.pk for s in self.sites]).values_list("label", "address"):
            yield from (label, address, *address.splitlines())
        for firm in Firm.objects.all():
            yield from (firm.phone, firm.contact_name)

    def subjects(self) -> list[uuid.UUID]:
        """Ids under which the trail speaks of them."""
        jobs, pools = self.jobs, Pool.objects.filter(site__in=self.sites)
        of_jobs: list[Any] = [Stint, Scope, SiteLog, Outcome, PhoneEntry, Notice]
        found: list[uuid.UUID] = [self.pool_owner.pk, *(job.pk for job in jobs), *(site.pk for site in self.sites)]
        for model in of_jobs:
            found += model.objects.filter(job__in=jobs).values_list("pk", flat=True)
        for rows in (
            pools,
            Survey.objects.filter(pool__in=pools),
            Photo.objects.filter(pool__in=pools),
            Mail.objects.filter(receiver__in=self.receivers),
            AccessToken.objects.filter(subject_id__in=[*(job.pk for job in jobs), *self.receivers]),
        ):
            found += rows.values_list("pk", flat=True)
        return found + self.receivers


def erasure_extent(pool_owner: PoolOwner) -> Extent:
    """Needs an active contractor."""
    jobs = list(Job.objects.filter(pool_owner=pool_owner).select_related("site").order_by("number"))
    sites = {job.site_id: job.site for job in jobs}
    theirs = set(Job.objects.filter(site__in=sites).exclude(pool_owner=pool_owner).values_list("site_id", flat=True))
    return Extent(
        pool_owner,
        jobs,
        [site for pk, site in sites.items() if pk not in theirs],
        [site for pk, site in sites.items() if pk in theirs],
    )


def _plain(word: str) -> str:
    return " ".join(word.split()).casefold()


def refuse_open_jobs(extent: Extent) -> None:
    """While a job of the pool owner is open, the work needs to know whom to call."""
    if extent.open_numbers:
        numbers = ", ".join(map(str, extent.open_numbers))
        raise ValidationError(_("Job %(numbers)s is open: finish it or call it off first.") % {"numbers": numbers})
