"""What follows from which key of the installation, so that an older key is given up only when nothing needs it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from scheduling.models import Hook
from shared import clock
from shared.keys import installation_keys, key_mark
from shared.models import AccessToken, Contractor, Membership, Person, SecondFactor, TokenKind
from shared.tenancy.context import acting_as, acting_for

GONE = "a key that is not here"


@dataclass
class KeyUse:
    """One key: its mark, and how many of each thing follow from it."""

    mark: str
    counts: Counter[str] = field(default_factory=Counter)


def key_inventory() -> list[KeyUse]:
    """The key in use first, then older ones, then what follows from a key that was given up (if anything does)."""
    marks = [key_mark(key) for key in installation_keys()]
    uses = {mark: KeyUse(mark) for mark in [*marks, GONE]}
    people = set()
    for contractor in Contractor.objects.order_by("pk"):
        with acting_for(contractor.pk):
            people |= set(Membership.objects.values_list("person_id", flat=True))
            for hook in Hook.objects.filter(active=True):
                uses[_known(hook.key_mark, marks)].counts["hooks"] += 1
            for token in _living_links():
                uses[_of_link(token, marks)].counts["links"] += 1
    for person in people:
        with acting_as(person):
            for factor in SecondFactor.objects.filter(confirmed_at__isnull=False):
                uses[_known(factor.key_mark, marks)].counts["second factors"] += 1
    return [use for use in uses.values() if use.mark != GONE or use.counts]


def _living_links() -> list[AccessToken]:
    rows = AccessToken.objects.filter(revoked_at=None).exclude(kind=TokenKind.API).exclude(expires_at__lte=clock.now())
    return list(rows)


def _known(mark: str, marks: list[str]) -> str:
    if not mark:
        return marks[-1]  # of before marks were written
    return mark if mark in marks else GONE


def _of_link(token: AccessToken, marks: list[str]) -> str:
    for number, mark in enumerate(marks):
        if token.follows_from(number):
            return mark
    return GONE


def people_with_a_factor_of(mark: str) -> list[Person]:
    """Whom to ask for a new factor before this key is given up."""
    marks = [key_mark(key) for key in installation_keys()]
    found: dict[str, Person] = {}
    for contractor in Contractor.objects.order_by("pk"):
        with acting_for(contractor.pk):
            people = [member.person for member in Membership.objects.select_related("person")]
        for person in people:
            with acting_as(person.pk):
                factor = SecondFactor.objects.filter(person=person, confirmed_at__isnull=False).first()
            if factor is not None and _known(factor.key_mark, marks) == mark:
                found[str(person.pk)] = person
    return list(found.values())
