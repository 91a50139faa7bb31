"""The screens of notices: what waits, what was sent, what was not and why; receivers and their wishes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import Count, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from jobs.models import Job, JobState, PoolOwner
from scheduling.models import Mail, Notice, NoticeKind, NoticeState, Receiver, ReceiverKind
from scheduling.notice_texts import NOT_SENT
from scheduling.selectors.receivers import OFFERED, Addressee, addressees
from shared.models import Contractor, Membership, OutgoingState

SENT, WAITING, FAILED, SKIPPED = "sent", "waiting", "failed", "skipped"
FILTERS: Final = ((SENT, _l("sent")), (WAITING, _l("waiting")), (FAILED, _l("failed")), (SKIPPED, _l("not sent")))
MOST: Final = 100


@dataclass(frozen=True)
class Row:
    """One line: a mail, or a notice that is in no mail."""

    at: dt.datetime
    to: str
    about: str
    jobs: tuple[Job, ...]
    said: str
    mail: Mail | None = None


def counts() -> dict[str, int]:
    """How many wait, failed or were not sent; two queries."""
    mails = dict(Mail.objects.values_list("state").annotate(n=Count("pk")).order_by())
    notices = dict(Notice.objects.filter(mail=None).values_list("state").annotate(n=Count("pk")).order_by())
    return {
        SENT: mails.get(OutgoingState.SENT, 0),
        WAITING: mails.get(OutgoingState.WAITING, 0)
        + mails.get(OutgoingState.SENDING, 0)
        + notices.get(NoticeState.WAITING, 0),
        FAILED: mails.get(OutgoingState.FAILED, 0),
        SKIPPED: notices.get(NoticeState.SKIPPED, 0) + mails.get(OutgoingState.SKIPPED, 0),
    }


def rows_of(contractor: Contractor, show: str) -> list[Row]:
    """The newest lines of one kind, newest first; a fixed number of queries."""
    states = {
        SENT: (OutgoingState.SENT,),
        WAITING: (OutgoingState.WAITING, OutgoingState.SENDING),
        FAILED: (OutgoingState.FAILED,),
        SKIPPED: (OutgoingState.SKIPPED,),
    }[show]
    mails = list(
        Mail.objects.filter(state__in=states)
        .defer("text", "html")
        .prefetch_related("notices__job__site")
        .order_by("-made_at", "-pk")[:MOST]
    )
    rows = [_mail_row(mail) for mail in mails]
    if show in (WAITING, SKIPPED):
        state = NoticeState.WAITING if show == WAITING else NoticeState.SKIPPED
        rows += _notice_rows(contractor, Notice.objects.filter(state=state, mail=None))
    return sorted(rows, key=lambda row: row.at, reverse=True)[:MOST]


def _mail_row(mail: Mail) -> Row:
    jobs = {notice.job.pk: notice.job for notice in mail.notices.all() if notice.job is not None}
    at, to = mail.done_at or mail.made_at, f"{mail.name}, {mail.to}"
    return Row(at, to, mail.subject, tuple(jobs.values()), said_of(mail), mail)


def said_of(mail: Mail) -> str:
    """How it went, in words."""
    if mail.state == OutgoingState.SENT:
        again = _(" Sent once more after an interruption, under the same id.") if mail.repeats else ""
        return (mail.answer or _("taken")) + again
    if mail.state == OutgoingState.SKIPPED:
        return str(NOT_SENT.get(mail.why, mail.why))
    if mail.state == OutgoingState.FAILED:
        return mail.answer
    if mail.attempts:
        return _("tried %(n)d times, next %(at)s; the mail server said: %(answer)s") % {
            "n": mail.attempts,
            "at": f"{timezone.localtime(mail.next_try_at):%H:%M}",
            "answer": mail.answer or _("nothing"),
        }
    return _("goes out within a minute")


def _notice_rows(contractor: Contractor, notices: QuerySet[Notice]) -> list[Row]:
    found = list(notices.select_related("receiver", "job__site").order_by("-due_at", "-pk")[:MOST])
    people = addressees(contractor, {row.receiver for row in found})
    rows = []
    for notice in found:
        who = people.get(notice.receiver_id)
        to = _("nobody any more") if who is None else f"{who.name}, {who.email or _('no address')}"
        said = str(NOT_SENT.get(notice.why, notice.why)) if notice.why else _("waits for its time")
        jobs = () if notice.job is None else (notice.job,)
        rows.append(Row(notice.due_at, to, str(NoticeKind(notice.kind).label), jobs, said))
    return rows


def of_job(job: Job) -> list[Mail]:
    """Mails about one job, newest first; one query."""
    mails = Mail.objects.filter(notices__job=job).defer("text", "html").distinct()
    return list(mails.order_by("-made_at", "-pk")[:12])


@dataclass(frozen=True)
class Wish:
    """A receiver with what they get, in words."""

    who: Addressee
    kinds: str
    hours: str


def receiver_keys() -> list[tuple[str, Any]]:
    """Pool owners of open jobs and active members."""
    over = (JobState.FINISHED, JobState.CALLED_OFF)
    open_jobs = Job.objects.exclude(state__in=over)
    owners = PoolOwner.objects.filter(jobs__in=open_jobs).distinct().values_list("pk", flat=True)
    members = Membership.objects.filter(active=True).values_list("pk", flat=True)
    return [(ReceiverKind.POOL_OWNER.value, pk) for pk in owners] + [(ReceiverKind.MEMBER.value, pk) for pk in members]


def wishes_of(contractor: Contractor, receivers: Sequence[Receiver]) -> list[Wish]:
    people = addressees(contractor, receivers).values()
    order = sorted(people, key=lambda who: (who.is_pool_owner, who.name.casefold()))
    return [Wish(who, kinds_words(who), hours_words(who)) for who in order]


def kinds_words(who: Addressee) -> str:
    labels = [str(NoticeKind(kind).label) for kind in OFFERED[who.role] if who.wants(kind)]
    return ", ".join(labels) or _("nothing")


def hours_words(who: Addressee) -> str:
    start, end = who.receiver.free_from_min, who.receiver.free_until_min
    if start == end:
        return _("at any hour")
    return _("not from %(start)s to %(end)s (%(zone)s)") % {
        "start": f"{start // 60}:{start % 60:02d}",
        "end": f"{end // 60}:{end % 60:02d}",
        "zone": who.zone.key,
    }
