from __future__ import annotations

import datetime as dt
import uuid

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from shared import clock
from shared.backend import person_of
from shared.ids import uuid7
from shared.models import AccessToken, Contractor, Firm, Membership, Person, Role, TokenKind
from shared.services.api_tokens import api_tokens_end
from shared.services.audit import audit_note
from shared.services.tokens import token_make, token_revoke
from shared.tenancy.context import acting_as, acting_for

INVITATION_LIFE = dt.timedelta(days=7)


class WrongPassword(ValidationError):
    """The address has a login, and this is not its password."""


def contractor_open(*, slug: str, name: str, zone: str, units: str) -> Contractor:
    """A new firm with its settings and no member yet."""
    contractor = Contractor(slug=slug, name=name, zone=zone)
    contractor.full_clean()
    with transaction.atomic():
        contractor.save()
        with acting_for(contractor.pk):
            Firm.objects.create(units=units, contact_name=name)
    return contractor


def person_register(*, email: str, name: str, password: str, language: str = "en") -> Person:
    """A new login; the password is checked against the validators first."""
    person = Person(id=uuid7(), email=email, name=name, language=language)
    validate_password(password, person)
    person.set_password(password)
    with acting_as(person.pk):
        person.full_clean(exclude=["password"], validate_unique=False)
        person.save(force_insert=True)
    return person


@transaction.atomic
def member_add(person: Person, role: str, *, by: Membership | str) -> Membership:
    """Make the person a member of the active firm, or bring a former member back with this role."""
    if role not in Role.values:
        raise ValidationError(_("Role is “%(role)s”; allowed are office, crew_lead and manager.") % {"role": role})
    found = Membership.objects.filter(person=person).first()
    if found is None:
        found = Membership.objects.create(person=person, role=role)
    else:
        _check_manager_left(found, role, active=True)
        found.role, found.active = role, True
        found.save(update_fields=["role", "active"])
    audit_note(by, "member added", found, after={"role": role})
    return found


@transaction.atomic
def invitation_make(email: str, role: str, *, by: Membership | str) -> AccessToken:
    """A link that makes its holder a member; good for seven days and one use. It replaces an older one to the same."""
    if role not in Role.values:
        raise ValidationError(_("Role is “%(role)s”; allowed are office, crew_lead and manager.") % {"role": role})
    email = email.strip().lower()
    for older in AccessToken.objects.filter(kind=TokenKind.INVITATION, revoked_at=None, note__email=email):
        token_revoke(older)
    token = token_make(
        TokenKind.INVITATION,
        "membership",
        made_by=by if isinstance(by, str) else by.person.name,
        expires_at=clock.now() + INVITATION_LIFE,
        note={"email": email, "role": role},
    )
    audit_note(by, "member invited", token, after={"role": role})
    return token


@transaction.atomic
def invitation_withdraw(token: AccessToken, *, by: Membership) -> None:
    """The link opens nothing from now on."""
    token_revoke(token)
    audit_note(by, "invitation withdrawn", token, before={"role": str(token.note.get("role", ""))})


@transaction.atomic
def invitation_accept(token: AccessToken, *, name: str, password: str, language: str = "en") -> Person:
    """Join by an invitation: a known address proves itself by its password, a new one sets it."""
    email = str(token.note["email"])
    person = person_of(email)
    if person is None:
        person = person_register(email=email, name=name, password=password, language=language)
    elif not (person.is_active and person.check_password(password)):
        raise WrongPassword(_("This address already has a login here: enter its password to join the firm."))
    with acting_as(person.pk):
        member_add(person, str(token.note["role"]), by=f"invitation by {token.made_by}")
    token_revoke(token)
    return person


@transaction.atomic
def member_change(member: Membership, *, role: str, active: bool, by: Membership) -> Membership:
    """Change role or end a membership; the last manager stays."""
    _check_manager_left(member, role, active=active)
    if role not in Role.values:
        raise ValidationError(_("Role is “%(role)s”; allowed are office, crew_lead and manager.") % {"role": role})
    before = {"role": member.role, "active": member.active}
    member.role, member.active = role, active
    member.save(update_fields=["role", "active"])
    if not active:
        api_tokens_end(member, by=by)
    audit_note(by, "member changed", member, before=before, after={"role": role, "active": active})
    return member


def _check_manager_left(member: Membership, role: str, *, active: bool) -> None:
    """Two managers who leave at once are asked one after the other: the contractor's row is the lock."""
    Contractor.objects.select_for_update(no_key=True).get(pk=member.contractor_id)
    managers = Membership.objects.filter(role=Role.MANAGER, active=True)
    loses = managers.filter(pk=member.pk).exists() and (role != Role.MANAGER or not active)
    if loses and not managers.exclude(pk=member.pk).exists():
        raise ValidationError(_("A firm needs at least one manager: name another one first."))


def person_change(person: Person, *, name: str, language: str) -> Person:
    """Change one's own name and language."""
    with acting_as(person.pk), transaction.atomic():
        person.name, person.language = name.strip(), language
        person.full_clean(exclude=["password", "email"], validate_unique=False)
        person.save(update_fields=["name", "language"])
    return person


def password_set(person_id: uuid.UUID, password: str) -> None:
    """Replace a person's password after the validators agreed."""
    with acting_as(person_id):
        person = Person.objects.get(pk=person_id)
        validate_password(password, person)
        person.set_password(password)
        person.save(update_fields=["password"])
