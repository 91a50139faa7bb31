"""Mails: made of the notices of one receiver, written, handed to the mail server one by one, and recorded.

Each step is a transaction of its own, so that a process may die anywhere: notices that were not gathered are gathered
again; a mail that was claimed is free again when its claim ends (`shared.services.outgoing`).
"""

from __future__ import annotations

import datetime as dt
import time
import uuid
from collections.abc import Sequence
from itertools import groupby
from typing import Final

from django.conf import settings
from django.db import transaction

from scheduling.models import Mail, Notice, NoticeState
from scheduling.notice_times import after_mail_free
from scheduling.selectors.receivers import Addressee, addressees
from scheduling.services.mail_writing import mail_write, message_of, notices_skip
from scheduling.services.notices import not_sent_why, wake
from scheduling.services.receivers import address_refused, address_try_again
from shared import clock
from shared.ids import uuid7
from shared.models import Contractor, Membership, OutgoingState
from shared.post import ClaimLost, NotTaken, Post
from shared.services.outgoing import (
    outgoing_claim,
    outgoing_failed,
    outgoing_hand,
    outgoing_later,
    outgoing_release,
    outgoing_sent,
    outgoing_sweep,
)
from shared.tenancy.context import acting_for
from shared.tenancy.turns import turn_taken

AT_ONCE: Final = 500  # notices that are gathered in one transaction
CHUNK: Final = 10  # mails that are claimed together
MOST_ATTEMPTS: Final = 12  # over some ten hours
MOST_SECONDS: Final = 300.0  # then the task ends, and the next one goes on


@transaction.atomic
def mails_gather(contractor: Contractor, *, now: dt.datetime) -> int:
    """Make one mail of all due notices of a receiver and kind; returns how many mails."""
    if not turn_taken("mails", contractor.pk):
        return 0
    due = Notice.objects.filter(state=NoticeState.WAITING, due_at__lte=now).order_by("due_at", "pk")
    ids = list(due.select_for_update(skip_locked=True, of=("self",)).values_list("pk", flat=True)[:AT_ONCE])
    rows = Notice.objects.filter(pk__in=ids).select_related("receiver", *_OF_A_JOB)
    people = addressees(contractor, {row.receiver for row in rows})
    order = sorted(rows, key=lambda row: (row.receiver_id, row.kind, row.made_at, row.pk))
    made = 0
    for (receiver_id, kind), group in groupby(order, key=lambda row: (row.receiver_id, row.kind)):
        made += _gathered(contractor, people.get(receiver_id), kind, list(group), now)
    return made


_OF_A_JOB: Final = ("job__site", "job__pool", "job__pool_owner")


def _gathered(contractor: Contractor, who: Addressee | None, kind: str, notices: list[Notice], now: dt.datetime) -> int:
    if who is None or not who.wants(kind):
        notices_skip(notices, "unwanted")
        return 0
    if not who.at_any_hour(kind):
        free = after_mail_free(now, who.receiver.free_from_min, who.receiver.free_until_min, who.zone)
        if free > now:
            Notice.objects.filter(pk__in=[row.pk for row in notices]).update(due_at=free)
            return 0
    sendable = []
    for notice in notices:
        why = not_sent_why(who, notice.void_after, now, now)
        if why:
            notices_skip([notice], why)
        else:
            sendable.append(notice)
    mail = Mail(id=uuid7(), receiver=who.receiver, kind=kind, made_at=now, next_try_at=now)
    kept = mail_write(mail, contractor, who, sendable)
    if not kept:
        return 0
    mail.save(force_insert=True)
    Notice.objects.filter(pk__in=[row.pk for row in kept]).update(state=NoticeState.MAILED, mail=mail)
    return 1


def mails_send(contractor: Contractor) -> int:
    """Hand over every mail whose time has come; returns how many the mail server took."""
    began, sent = time.monotonic(), 0
    lease = dt.timedelta(seconds=settings.OUTGOING_LEASE_S)
    with Post() as post:
        while time.monotonic() - began < MOST_SECONDS:
            with acting_for(contractor.pk):
                outgoing_sweep(Mail.objects.all())
                mails = outgoing_claim(Mail.objects.all(), most=CHUNK, lease=lease)
            if not mails:
                break
            for place, mail in enumerate(mails):
                try:
                    sent += _handed(post, contractor, mail.pk, mail.claim, lease)
                except NotTaken as gone:
                    if gone.code is None:  # the server is away: the others need not try it one by one
                        with acting_for(contractor.pk):
                            outgoing_release(mails[place + 1 :])
                        return sent
    return sent


def _handed(post: Post, contractor: Contractor, pk: uuid.UUID, claim: uuid.UUID | None, lease: dt.timedelta) -> int:
    with acting_for(contractor.pk):
        mail = Mail.objects.select_related("receiver").filter(pk=pk, claim=claim, state=OutgoingState.SENDING).first()
        if mail is None or not _still_right(mail, contractor):
            return 0
        message = message_of(mail, contractor)

    def hand() -> bool:
        with acting_for(contractor.pk):
            return outgoing_hand(mail, lease=lease)

    try:
        code, answer = post.send(message, hand=hand)
    except ClaimLost:
        return 0
    except NotTaken as refused:
        with acting_for(contractor.pk):
            _not_taken(mail, contractor, refused)
        if refused.code is None:
            raise
        return 0
    with acting_for(contractor.pk):
        outgoing_sent(mail, code=code, answer=answer)
    return 1


def _not_taken(mail: Mail, contractor: Contractor, refused: NotTaken) -> None:
    if refused.fault == "address":
        outgoing_failed(mail, code=refused.code, answer=refused.answer)
        address_refused(mail.receiver_id, mail.to, refused.answer)
    elif refused.fault == "message":
        outgoing_failed(mail, code=refused.code, answer=refused.answer)
    else:
        outgoing_later(mail, code=refused.code, answer=refused.answer, most_attempts=MOST_ATTEMPTS)


def _still_right(mail: Mail, contractor: Contractor) -> bool:
    """Before a later attempt: what was overtaken meanwhile is written anew or not sent. A mail that may have been
    accepted already keeps its words."""
    now = clock.now()
    notices = list(Notice.objects.filter(mail=mail).select_related(*_OF_A_JOB).order_by("made_at", "pk"))
    over = [row for row in notices if row.void_after <= now]
    if notices and len(over) == len(notices):
        _not_any_more(mail, notices, "late")
        return False
    who = addressees(contractor, [mail.receiver]).get(mail.receiver_id)
    if who is None or not who.wants(mail.kind):
        _not_any_more(mail, notices, "unwanted")
        return False
    if not who.at_any_hour(mail.kind):
        free = after_mail_free(now, who.receiver.free_from_min, who.receiver.free_until_min, who.zone)
        if free > now:
            waiting = {"state": OutgoingState.WAITING, "next_try_at": free, "claim": None, "claimed_until": None}
            Mail.objects.filter(pk=mail.pk).update(**waiting)
            return False
    if mail.attempts == 1 or mail.repeats or not notices:
        return True
    kept = mail_write(mail, contractor, who, [row for row in notices if row not in over])
    if not kept:
        _not_any_more(mail, notices, "moved_on")
        return False
    mail.save(update_fields=["to", "name", "language", "subject", "text", "html"])
    return True


def _not_any_more(mail: Mail, notices: Sequence[Notice], why: str) -> None:
    notices_skip(notices, why)
    over = {"state": OutgoingState.SKIPPED, "done_at": clock.now(), "why": why, "claim": None}
    Mail.objects.filter(pk=mail.pk).update(**over)


@transaction.atomic
def mail_again(mail: Mail, *, by: Membership) -> bool:
    """A failed mail is tried again, to the address that the receiver has now; False when it did not fail."""
    now = clock.now()
    waiting = {"state": OutgoingState.WAITING, "next_try_at": now, "attempts": 1, "handed_at": None, "done_at": None}
    if Mail.objects.filter(pk=mail.pk, state=OutgoingState.FAILED).update(**waiting) != 1:
        return False
    address_try_again(mail.receiver, by=by)
    wake(by.contractor)
    return True
