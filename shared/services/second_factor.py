"""One-time passwords of a person (RFC 6238), and codes for the day on which the phone is lost."""

from __future__ import annotations

import base64
import secrets
import uuid
from typing import Any, Final
from urllib.parse import quote, urlencode

from django.contrib.auth.hashers import check_password, make_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django_otp.oath import TOTP

from shared import clock
from shared.models import Firm, Membership, Person, SecondFactor
from shared.security_log import second_factor_ended
from shared.services.audit import audit_note
from shared.tenancy.context import acting_as, acting_for

DIGITS: Final = 6
STEP_S: Final = 30
TOLERANCE: Final = 1  # steps before and after now
RECOVERY_CODES: Final = 10
ISSUER: Final = "resurf"


def second_factor_of(person_id: uuid.UUID) -> SecondFactor | None:
    """The factor that was confirmed."""
    with acting_as(person_id):
        return SecondFactor.objects.filter(person_id=person_id, confirmed_at__isnull=False).first()


def second_factor_begin(person: Person) -> SecondFactor:
    """A key to be scanned; it counts when a first code was typed in. An unconfirmed one is shown again."""
    with acting_as(person.pk):
        found, _new = SecondFactor.objects.get_or_create(person=person, defaults={"made_at": clock.now()})
        return found


def address_of(factor: SecondFactor, person: Person) -> str:
    """What an authenticator app reads from the QR code."""
    label = quote(f"{ISSUER}:{person.email}")
    facts = {"secret": key_text(factor), "issuer": ISSUER, "digits": DIGITS, "period": STEP_S}
    return f"otpauth://totp/{label}?{urlencode(facts)}"


def key_text(factor: SecondFactor) -> str:
    return base64.b32encode(factor.key).decode().rstrip("=")


def second_factor_confirm(person: Person, code: str) -> list[str]:
    """The first right code makes the factor count; returns the recovery codes, shown this once."""
    with acting_as(person.pk):
        factor = SecondFactor.objects.filter(person=person, confirmed_at=None).first()
        if factor is None or not _take(factor, code):
            raise ValidationError(_("This code is not right: type the one that the app shows now."))
        codes = [_recovery_code() for _number in range(RECOVERY_CODES)]
        factor.confirmed_at = clock.now()
        factor.recovery = [make_password(each) for each in codes]
        factor.save(update_fields=["confirmed_at", "recovery"])
    return codes


def second_factor_right(person: Person, code: str) -> bool:
    """Whether this is the code of now, or a recovery code that is left; either is taken once."""
    with acting_as(person.pk):
        factor = SecondFactor.objects.filter(person=person, confirmed_at__isnull=False).first()
        return factor is not None and (_take(factor, code) or _take_recovery(factor, code))


def second_factor_end(person: Person) -> None:
    with acting_as(person.pk):
        SecondFactor.objects.filter(person=person).delete()


def second_factor_end_for(person: Person, *, by: str, why: str) -> bool:
    """End a factor that was lost, by somebody who made sure who asks; False where there is none.

    Every firm of the person finds it in its trail, and the security log says that it happened.
    """
    with transaction.atomic():
        with acting_as(person.pk):
            if not SecondFactor.objects.filter(person=person).delete()[0]:
                return False
            members = list(Membership.of_person.filter(person_id=person.pk).order_by("pk"))
        for member in members:
            with acting_as(person.pk), acting_for(member.contractor_id):
                audit_note(by, "second factor ended", member, after={"why": why})
    second_factor_ended(person, by)
    return True


@transaction.atomic
def second_factor_rule(firm: Firm, *, needed: bool, by: Membership) -> None:
    """Whether managers of this firm need a second factor. Who sets the rule has one, so nobody locks all out."""
    if needed and second_factor_of(by.person_id) is None:
        raise ValidationError(_("Set up your own second factor first."))
    if firm.second_factor != needed:
        firm.second_factor = needed
        firm.save(update_fields=["second_factor"])
        audit_note(
            by, "second factor rule", firm, before={"second_factor": not needed}, after={"second_factor": needed}
        )


def _take(factor: SecondFactor, code: str) -> bool:
    typed = code.replace(" ", "")
    if not (typed.isascii() and typed.isdecimal() and len(typed) == DIGITS):
        return False
    make: Any = TOTP  # without types
    totp = make(factor.key, step=STEP_S, digits=DIGITS)
    totp.time = clock.now().timestamp()
    if not totp.verify(int(typed), tolerance=TOLERANCE, min_t=factor.last_step + 1):
        return False
    taken = SecondFactor.objects.filter(pk=factor.pk, last_step__lt=totp.t()).update(last_step=totp.t())
    return bool(taken == 1)


@transaction.atomic
def _take_recovery(factor: SecondFactor, code: str) -> bool:
    typed = code.strip().lower().replace(" ", "")
    if not 8 <= len(typed) <= 20:
        return False
    locked = SecondFactor.objects.select_for_update().get(pk=factor.pk)
    for kept in locked.recovery:
        if check_password(typed, kept):
            locked.recovery = [each for each in locked.recovery if each != kept]
            locked.save(update_fields=["recovery"])
            return True
    return False


def _recovery_code() -> str:
    letters = base64.b32encode(secrets.token_bytes(10)).decode().lower()[:12]
    return "-".join((letters[:4], letters[4:8], letters[8:]))
