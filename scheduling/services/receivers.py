"""Receivers of notices: made when first needed, their wishes, addresses that a mail server refuses."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from jobs.models import PoolOwner
from scheduling.models import NoticeKind, Receiver, ReceiverKind
from scheduling.selectors.receivers import OFFERED, Addressee
from shared import clock
from shared.models import Membership
from shared.models.contractor import known_zone
from shared.services.audit import audit_note
from shared.tenancy.context import current_contractor_id

Key = tuple[str, uuid.UUID]


def receivers_of(keys: Iterable[Key]) -> dict[Key, Receiver]:
    """The rows of these pool owners and members, made where there are none."""
    wanted = set(keys)
    present = _present(wanted)
    missing = wanted - set(present)
    if missing:
        rows = [Receiver(kind=kind, subject_id=pk) for kind, pk in sorted(missing, key=str)]
        for row in rows:
            row.contractor_id = current_contractor_id()
        Receiver.objects.bulk_create(rows, ignore_conflicts=True)
        present = _present(wanted)
    return present


def _present(keys: set[Key]) -> dict[Key, Receiver]:
    rows = Receiver.objects.filter(subject_id__in=[pk for _kind, pk in keys])
    return {(row.kind, row.subject_id): row for row in rows if (row.kind, row.subject_id) in keys}


@transaction.atomic
def wishes_set(who: Addressee, *, by: Membership | str, wishes: Mapping[str, bool], **hours: Any) -> Receiver:
    """Which kinds, and the mail-free hours (free_from_min, free_until_min, zone).

    Raises
    ------
    ValidationError
        For a kind that is not offered to this receiver, minutes outside a day, or an unknown zone.
    """
    offered = OFFERED[who.role]
    unknown = sorted(set(wishes) - set(offered))
    if unknown:
        raise ValidationError(_("“%(kind)s” is not a notice that is offered here.") % {"kind": unknown[0]})
    receiver = who.receiver
    before = {"wishes": receiver.wishes, "from": receiver.free_from_min, "until": receiver.free_until_min}
    receiver.wishes = {**receiver.wishes, **{kind: bool(wanted) for kind, wanted in wishes.items()}}
    for name in ("free_from_min", "free_until_min"):
        if name in hours:
            if not 0 <= hours[name] < 24 * 60:
                raise ValidationError(_("Mail-free hours: %(minute)s min; allowed is 0 to 1439.") % {
                    "minute": hours[name]})  # fmt: skip
            setattr(receiver, name, hours[name])
    if "zone" in hours:
        if hours["zone"]:
            known_zone(hours["zone"])
        receiver.zone = hours["zone"]
    receiver.save()
    if who.is_pool_owner and any(wishes.values()):
        PoolOwner.objects.filter(pk=receiver.subject_id).update(wants_notices=True)
    after = {"wishes": receiver.wishes, "from": receiver.free_from_min, "until": receiver.free_until_min}
    audit_note(by, "notices chosen", receiver, before=before, after=after)
    return receiver


@transaction.atomic
def notices_stop(who: Addressee, kind: str = "") -> None:
    """The one-click stop of a mail: a pool owner gets no more at all, a member no more of this kind."""
    receiver = who.receiver
    if who.is_pool_owner:
        PoolOwner.objects.filter(pk=receiver.subject_id).update(wants_notices=False)
        stopped = list(OFFERED[who.role])
    else:
        stopped = [NoticeKind(kind)] if kind in OFFERED[who.role] else list(OFFERED[who.role])
        receiver.wishes = {**receiver.wishes, **dict.fromkeys(map(str, stopped), False)}
        receiver.save(update_fields=["wishes"])
    audit_note("the receiver, by the link in a mail", "notices stopped", receiver, after={"kinds": list(stopped)})


def address_refused(receiver_id: uuid.UUID, address: str, answer: str) -> None:
    """Mark an address that a mail server refused for good; nothing is sent there until it is corrected."""
    Receiver.objects.filter(pk=receiver_id).update(
        refused_address=address, refused_at=clock.now(), refused_answer=answer[:300]
    )


@transaction.atomic
def address_try_again(receiver: Receiver, *, by: Membership) -> None:
    """The office says that the address is good after all."""
    before = {"refused_address": receiver.refused_address}
    receiver.refused_address, receiver.refused_answer, receiver.refused_at = "", "", None
    receiver.save(update_fields=["refused_address", "refused_answer", "refused_at"])
    audit_note(by, "address tried again", receiver, before=before)


def member_key(member_id: uuid.UUID) -> Key:
    return ReceiverKind.MEMBER, member_id


def pool_owner_key(owner_id: uuid.UUID) -> Key:
    return ReceiverKind.POOL_OWNER, owner_id
