"""Who gets notices: names, addresses, languages, zones and wishes, in a fixed number of queries."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

from jobs.models import Job, PoolOwner
from scheduling.models import NoticeKind, Receiver, ReceiverKind
from shared.models import Contractor, Membership, Role

POOL_OWNER: Final = "pool_owner"
# What each may choose, with what they get unless they say otherwise.
OFFERED: Final[Mapping[str, Mapping[str, bool]]] = {
    POOL_OWNER: {
        NoticeKind.FILL_TOMORROW: True,
        NoticeKind.FILLING: True,
        NoticeKind.MOVED: True,
        NoticeKind.DUTIES: True,
    },
    Role.CREW_LEAD: {
        NoticeKind.FILL_TOMORROW: True,
        NoticeKind.FILLING: True,
        NoticeKind.BE_THERE: True,
        NoticeKind.MOVED: True,
        NoticeKind.DOUBT: True,
        NoticeKind.WATER_TEST: True,
    },
    Role.OFFICE: {
        NoticeKind.BE_THERE: True,
        NoticeKind.MOVED: False,
        NoticeKind.DOUBT: True,
        NoticeKind.WATER_TEST: True,
        NoticeKind.DIGEST: True,
    },
    Role.MANAGER: {
        NoticeKind.BE_THERE: False,
        NoticeKind.MOVED: True,
        NoticeKind.DOUBT: True,
        NoticeKind.WATER_TEST: False,
        NoticeKind.DIGEST: True,
    },
}
AT_ANY_HOUR: Final = (NoticeKind.FILLING, NoticeKind.BE_THERE, NoticeKind.DIGEST)  # to members; the digest has its hour


@dataclass(frozen=True)
class Addressee:
    """A receiver with what the pool owner's or the member's own row says."""

    receiver: Receiver
    role: str
    name: str
    email: str
    language: str
    zone: ZoneInfo
    gone: bool = False

    @property
    def is_pool_owner(self) -> bool:
        return self.role == POOL_OWNER

    def wants(self, kind: str) -> bool:
        offered = OFFERED[self.role]
        return not self.gone and kind in offered and bool(self.receiver.wishes.get(kind, offered[NoticeKind(kind)]))

    def at_any_hour(self, kind: str) -> bool:
        return not self.is_pool_owner and kind in AT_ANY_HOUR

    @property
    def refused(self) -> bool:
        """A mail server refused this very address; a corrected one is tried again."""
        return bool(self.email) and self.email == self.receiver.refused_address


def addressees(contractor: Contractor, receivers: Iterable[Receiver]) -> dict[uuid.UUID, Addressee]:
    """By receiver; those whose pool owner or membership is no more are left out."""
    listed = list(receivers)
    ids: dict[str, list[uuid.UUID]] = {ReceiverKind.POOL_OWNER: [], ReceiverKind.MEMBER: []}
    for receiver in listed:
        ids[receiver.kind].append(receiver.subject_id)
    owners = {row.pk: row for row in PoolOwner.objects.filter(pk__in=ids[ReceiverKind.POOL_OWNER])}
    members = {
        row.pk: row
        for row in Membership.objects.filter(pk__in=ids[ReceiverKind.MEMBER]).select_related("person")
    }  # fmt: skip
    zones = _zones(ids[ReceiverKind.POOL_OWNER])
    found = {}
    for receiver in listed:
        if owner := owners.get(receiver.subject_id):
            zone = ZoneInfo(receiver.zone or zones.get(owner.pk, contractor.zone))
            found[receiver.pk] = Addressee(
                receiver, POOL_OWNER, owner.name, owner.email, owner.language, zone, not owner.wants_notices
            )
        elif member := members.get(receiver.subject_id):
            person = member.person
            found[receiver.pk] = Addressee(
                receiver,
                member.role,
                person.name,
                person.email,
                person.language,
                ZoneInfo(receiver.zone or contractor.zone),
                not (member.active and person.is_active),
            )
    return found


def _zones(owner_ids: list[uuid.UUID]) -> dict[uuid.UUID, str]:
    """Zone of the site of a pool owner's newest job."""
    if not owner_ids:
        return {}
    rows = Job.objects.filter(pool_owner__in=owner_ids).order_by("number").values_list("pool_owner_id", "site__zone")
    return {owner: zone for owner, zone in rows if owner is not None}
