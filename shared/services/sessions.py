"""Log-ins of a person, seen and ended: by the person, by a manager of the firm, by the operator."""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass

from django.db import transaction
from django.utils import timezone

from shared import clock
from shared.models import Membership, Person, Session, session_hash
from shared.services.audit import audit_note
from shared.tenancy.context import acting_as, acting_for


@dataclass(frozen=True)
class LogIn:
    """One log-in of a person as the person sees it."""

    id: uuid.UUID
    made_at: dt.datetime
    seen_at: dt.datetime
    place: str
    browser: str
    is_this: bool


def sessions_of(person: Person, *, this: str | None) -> list[LogIn]:
    """Log-ins that still open something, this one first, then the one used last."""
    here = session_hash(this) if this else ""
    with acting_as(person.pk):
        rows = Session.objects.filter(person_id=person.pk, ends_at__gt=timezone.now()).order_by("-seen_at", "pk")
        found = [LogIn(r.pk, r.made_at, r.seen_at, r.place, r.browser, r.key_hash == here) for r in rows]
    return sorted(found, key=lambda one: not one.is_this)


def session_end(person: Person, session_id: uuid.UUID) -> bool:
    """End one log-in of this person; False where there is none of that id."""
    with acting_as(person.pk):
        return Session.objects.filter(person_id=person.pk, pk=session_id).delete()[0] > 0


def sessions_end(person: Person, *, but: str | None = None) -> int:
    """End every log-in of a person but the one of this key; returns how many."""
    with acting_as(person.pk):
        rows = Session.objects.filter(person_id=person.pk)
        return int((rows.exclude(key_hash=session_hash(but)) if but else rows).delete()[0])


@transaction.atomic
def member_sessions_end(member: Membership, *, by: Membership | str) -> None:
    """Every log-in that the member has now opens nothing from the next request on; other firms see no row of ours."""
    member.sessions_ended_at = clock.now()
    member.save(update_fields=["sessions_ended_at"])
    audit_note(by, "log-ins ended", member)


def person_sessions_end(person: Person, *, by: str, why: str) -> int:
    """The operator ends every log-in; each firm of the person finds it in its trail."""
    count = sessions_end(person)
    for member in memberships_of(person):
        with acting_as(person.pk), acting_for(member.contractor_id):
            member.person = person
            audit_note(by, "log-ins ended", member, after={"why": why})
    return count


def memberships_of(person: Person) -> list[Membership]:
    with acting_as(person.pk):
        return list(Membership.of_person.filter(person_id=person.pk).order_by("pk"))
