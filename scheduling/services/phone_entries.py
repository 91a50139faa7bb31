"""What phones send later: each entry is taken once, and told the same answer again."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import uuid
from dataclasses import dataclass
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from jobs.models import Job, LogKind, SiteLog
from scheduling.models import Outcome, PhoneEntry
from scheduling.services.site_work import site_log
from shared import clock
from shared.models import Membership

CLOCK_OFF: Final = dt.timedelta(minutes=2)  # a phone's clock may be off by so much before its times are put right
OLDEST: Final = dt.timedelta(days=60)


@dataclass(frozen=True)
class Told:
    """One entry as the phone sends it.

    at : moment of the tap by the phone's clock
    sent_at : moment of sending by the same clock
    """

    client_id: uuid.UUID
    address: str
    fields: tuple[tuple[str, str], ...]
    said: str
    at: dt.datetime
    sent_at: dt.datetime

    @property
    def digest(self) -> str:
        text = json.dumps([self.address, [pair for pair in self.fields if pair[0] != "csrfmiddlewaretoken"]])
        return hashlib.sha256(text.encode()).hexdigest()

    def happened(self, now: dt.datetime) -> dt.datetime:
        """The moment of the tap, put right by what the phone's clock is off."""
        off = now - self.sent_at
        at = self.at + off if abs(off) > CLOCK_OFF else self.at
        if now - at > OLDEST:
            raise ValidationError(
                _("The entry is of %(at)s, more than %(days)d days ago; it is too old to be kept.")
                % {"at": f"{at:%Y-%m-%d}", "days": OLDEST.days}
            )
        return min(at, now)


def entry_known(told: Told, by: Membership) -> PhoneEntry | None:
    """The entry that was taken under this id before; refuses an id that stands for something else."""
    known = PhoneEntry.objects.filter(client_id=told.client_id).first()
    if known is not None and (known.person_id != by.person_id or known.digest != told.digest):
        raise ValidationError(_("This id was used for another entry."))
    return known


def entry_take(
    told: Told, *, by: Membership, job: Job | None, outcome: str = Outcome.KEPT, answer: dict[str, Any] | None = None
) -> PhoneEntry:
    """Claim the id; the second of two that come at once waits for the first and gets an IntegrityError."""
    return PhoneEntry.objects.create(
        client_id=told.client_id,
        person_id=by.person_id,
        by=by.person.name,
        job=job,
        address=told.address,
        said=told.said,
        fields=[list(pair) for pair in told.fields],
        digest=told.digest,
        at=told.happened(clock.now()),
        taken_at=clock.now(),
        outcome=outcome,
        answer=answer or {},
    )


def entry_answer(entry: PhoneEntry, answer: dict[str, Any]) -> None:
    entry.answer = answer
    entry.save(update_fields=["answer"])


def entry_as_note(told: Told, *, by: Membership, job: Job) -> SiteLog:
    """What can no longer count as work stays with the job as a note."""
    said = _("Logged without signal: %(said)s") % {"said": told.said}
    log, _new = site_log(
        job, kind=LogKind.NOTE, by=by, at=told.happened(clock.now()), data={"text": said}, client_id=told.client_id
    )
    return log
