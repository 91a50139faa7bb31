"""Mails with a link to set a new password. The request writes a row; a worker looks whether anybody has the address."""

from __future__ import annotations

import datetime as dt
from typing import Final

from django.conf import settings
from django.contrib.auth.tokens import default_token_generator
from django.core.mail import EmailMultiAlternatives
from django.db.models import QuerySet
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext as _

from shared import clock
from shared.backend import person_of
from shared.models import OutgoingState, PasswordMail, Person
from shared.post import ClaimLost, NotTaken, Post
from shared.services.outgoing import outgoing_claim, outgoing_hand, outgoing_later, outgoing_sweep
from shared.tenancy.context import acting_as, working_at
from shared.waking import task_wake

WORK: Final = "password mails"  # the row policy of the table knows this word
CHUNK: Final = 5
MOST_ATTEMPTS: Final = 6
USELESS_AFTER: Final = dt.timedelta(hours=1)  # whoever still wants it has asked again


def password_mail_ask(email: str, language: str) -> None:
    """Note the wish; the same work whether or not the address has a login."""
    PasswordMail.objects.create(email=email, language=language)
    task_wake("shared.password_mails", queue="notices")


def password_mails_send() -> int:
    """Send what waits; a row is deleted when it is done, so that nobody can list who asked."""
    rows = PasswordMail.objects.all()
    lease = dt.timedelta(seconds=settings.OUTGOING_LEASE_S)
    with working_at(WORK):
        rows.filter(made_at__lt=clock.now() - USELESS_AFTER).exclude(state=OutgoingState.SENDING).delete()
        outgoing_sweep(rows)
    sent = 0
    with Post() as post:
        while claimed := _claimed(rows, lease):
            sent += sum(_sent(post, row, lease) for row in claimed)
    return sent


def _claimed(rows: QuerySet[PasswordMail], lease: dt.timedelta) -> list[PasswordMail]:
    with working_at(WORK):
        return outgoing_claim(rows, most=CHUNK, lease=lease)


def _sent(post: Post, row: PasswordMail, lease: dt.timedelta) -> bool:
    person = person_of(row.email)
    if person is None or not person.is_active:
        _done(row)
        return False
    try:
        post.send(_message(person, row), hand=lambda: _handed(row, lease))
    except ClaimLost:
        return False
    except NotTaken as refused:
        with working_at(WORK):
            if refused.fault != "later" or not outgoing_later(
                row, code=refused.code, answer=refused.answer, most_attempts=MOST_ATTEMPTS
            ):
                row.delete()
        return False
    _done(row)
    return True


def _handed(row: PasswordMail, lease: dt.timedelta) -> bool:
    with working_at(WORK):
        return outgoing_hand(row, lease=lease)


def _done(row: PasswordMail) -> None:
    with working_at(WORK):
        row.delete()


def _message(person: Person, row: PasswordMail) -> EmailMultiAlternatives:
    """The link is made now, of the installation's own address, whatever host the request named."""
    with acting_as(person.pk), translation.override(row.language):
        link = reverse("password-reset", args=[person.pk, default_token_generator.make_token(person)])
        text = _("Open this link within an hour to set a new password:\n\n%(link)s\n\nIf you did not ask, ignore it.")
        return EmailMultiAlternatives(
            subject=_("Set a new password"),
            body=text % {"link": settings.SITE_URL + link},
            to=[person.email],
            headers={"Message-ID": f"<{row.pk}@{settings.SITE_URL.rpartition('/')[2].partition(':')[0]}>"},
        )
