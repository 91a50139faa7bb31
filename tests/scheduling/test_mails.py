"""Mails through a real SMTP server on the loopback address: accepted, refused, delayed, broken off; and resumed."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator
from typing import Any

import pytest

from scheduling.models import Mail, Notice, NoticeState, Receiver
from scheduling.notice_tasks import mails_task
from scheduling.services.mails import MOST_ATTEMPTS, mail_again, mails_gather
from scheduling.services.receivers import receivers_of
from shared import clock
from shared.models import OutgoingState
from shared.post import fault_of_address
from shared.services.outgoing import FIRST_WAIT, JITTER, LONGEST_WAIT, outgoing_claim, outgoing_hand, wait_after
from shared.tenancy.context import acting_for
from tests.cast import Cast, open_job
from tests.mail_server import MailServer, mail_server, server_that_drops_mid_data

NOON = dt.datetime(2027, 3, 3, 17, tzinfo=dt.UTC)  # 12:00 in New York
OWNER = "pool.owner@cast.example"


@pytest.fixture
def server(settings: Any) -> Iterator[MailServer]:
    with mail_server() as found:
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_TIMEOUT = "127.0.0.1", found.port, 5
        settings.EMAIL_USE_TLS = settings.EMAIL_USE_SSL = False
        yield found


@pytest.fixture
def waiting(cast: Cast) -> Mail:
    """A written mail about a moved date to one pool owner."""
    job = open_job(cast.own)
    with clock.clock_at(NOON), acting_for(cast.own.contractor.pk):
        receiver = receivers_of([("pool_owner", job.pool_owner_id)])[("pool_owner", job.pool_owner_id)]
        facts = {"key": "fill", "entry": str(uuid.uuid4()), "old": "2027-03-10", "new": "2027-03-12", "why": "weather"}
        times = {"made_at": NOON, "due_at": NOON, "void_after": NOON + dt.timedelta(days=9)}
        Notice.objects.create(
            kind="moved", subject_id=job.pk, job=job, receiver=receiver, cause="one", facts=facts, **times
        )
        assert mails_gather(cast.own.contractor, now=NOON) == 1
        return Mail.objects.get()


def run(cast: Cast, at: dt.datetime = NOON) -> Mail:
    with clock.clock_at(at):
        mails_task.run(str(cast.own.contractor.pk))
    return row(cast)


def row(cast: Cast) -> Mail:
    with acting_for(cast.own.contractor.pk):
        return Mail.objects.select_related("receiver").get()


def test_an_accepted_mail_is_recorded_with_the_servers_answer(cast: Cast, waiting: Mail, server: MailServer):
    mail = run(cast)
    assert (mail.state, mail.code, mail.answer) == (OutgoingState.SENT, 250, "250 2.0.0 kept as 1")
    [letter] = server.letters
    assert (letter.to, letter.number) == (OWNER, mail.message_id)
    assert run(cast).attempts == 1
    assert len(server.letters) == 1


def test_many_mails_go_through_one_connection(cast: Cast, waiting: Mail, server: MailServer):
    with acting_for(cast.own.contractor.pk):
        for _ in range(24):
            waiting.pk = waiting.id = uuid.uuid4()
            waiting.message_id = f"<{waiting.pk}@cast.example>"
            waiting.save(force_insert=True)
    with clock.clock_at(NOON):
        mails_task.run(str(cast.own.contractor.pk))
    assert len({letter.number for letter in server.letters}) == 25
    assert server.connections == 1


def test_an_unknown_address_fails_for_good_and_is_marked(cast: Cast, waiting: Mail, server: MailServer):
    server.rcpt[OWNER] = "550 5.1.1 No such user here"
    mail = run(cast)
    assert (mail.state, mail.code, mail.attempts) == (OutgoingState.FAILED, 550, 1)
    assert mail.receiver.refused_address == OWNER
    assert "No such user" in mail.receiver.refused_answer
    # what comes later is not even tried
    with acting_for(cast.own.contractor.pk):
        notice = Notice.objects.get()
        notice.pk = notice.id = uuid.uuid4()
        notice.cause, notice.state, notice.mail = "two", NoticeState.WAITING, None
        notice.facts = {**notice.facts, "entry": str(uuid.uuid4())}
        notice.save(force_insert=True)
    run(cast)
    with acting_for(cast.own.contractor.pk):
        assert Notice.objects.get(cause="two").why == "refused"
    assert server.letters == []


def test_a_corrected_address_is_tried_again_by_the_office(cast: Cast, waiting: Mail, server: MailServer):
    server.rcpt[OWNER] = "550 5.1.1 No such user here"
    mail = run(cast)
    with clock.clock_at(NOON), acting_for(cast.own.contractor.pk):
        notice = Notice.objects.select_related("job__pool_owner").get()
        assert notice.job is not None
        notice.job.pool_owner.email = "right@cast.example"
        notice.job.pool_owner.save()
        assert mail_again(mail, by=cast.own.office)
        assert not mail_again(mail, by=cast.own.office)
    assert run(cast).state == OutgoingState.SENT
    assert [letter.to for letter in server.letters] == ["right@cast.example"]


@pytest.mark.parametrize(
    ("code", "text", "fault"),
    [
        (550, "5.1.1 unknown", "address"),
        (551, "User not local", "address"),
        (553, "mailbox name not allowed", "address"),
        (556, "domain takes no mail", "address"),
        (550, "5.7.1 relaying denied", "message"),  # RFC 3463: X.7.X is policy and says nothing about the mailbox
        (552, "5.2.2 mailbox full", "message"),
        (450, "4.2.1 greylisted", "later"),
        (421, "closing", "later"),
    ],
)
def test_refusals_of_an_address_mean_what_rfc_5321_and_3463_say(code: int, text: str, fault: str):
    assert fault_of_address(code, text) == fault


def test_a_message_refused_after_its_text_fails_without_marking_the_address(
    cast: Cast, waiting: Mail, server: MailServer
):
    server.data["*"] = "554 5.7.1 looks like advertising"
    mail = run(cast)
    assert (mail.state, mail.code) == (OutgoingState.FAILED, 554)
    assert mail.receiver.refused_address == ""


def test_a_refusal_for_now_is_tried_again_with_growing_waits(cast: Cast, waiting: Mail, server: MailServer):
    server.rcpt["*"] = "450 4.2.1 try again later"
    mail, at, waits = run(cast), NOON, []
    for _ in range(3):
        assert mail.state == OutgoingState.WAITING
        assert "try again later" in mail.answer
        waits.append(mail.next_try_at - at)
        assert run(cast, at + dt.timedelta(seconds=20)).attempts == mail.attempts  # not before its time
        at = mail.next_try_at
        mail = run(cast, at)
    assert waits[0] < waits[1] < waits[2]
    server.rcpt.clear()
    assert run(cast, mail.next_try_at).state == OutgoingState.SENT
    assert len(server.letters) == 1


def test_waits_double_to_a_longest_and_jitter_spreads_them():
    plain = [wait_after(attempts, 0.5) for attempts in range(1, 12)]
    assert plain[:4] == [FIRST_WAIT, 2 * FIRST_WAIT, 4 * FIRST_WAIT, 8 * FIRST_WAIT]
    assert plain[-1] == LONGEST_WAIT
    assert wait_after(3, 0.0) == 4 * FIRST_WAIT * (1 - JITTER)
    assert wait_after(3, 1.0) == 4 * FIRST_WAIT * (1 + JITTER)


def test_after_the_last_attempt_it_failed(cast: Cast, waiting: Mail, server: MailServer):
    server.rcpt["*"] = "450 4.2.1 try again later"
    with acting_for(cast.own.contractor.pk):
        Mail.objects.update(attempts=MOST_ATTEMPTS - 1)
    mail = run(cast)
    assert (mail.state, mail.attempts) == (OutgoingState.FAILED, MOST_ATTEMPTS)


def test_a_server_that_is_away_costs_one_attempt_of_one_mail(cast: Cast, waiting: Mail, settings: Any):
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_TIMEOUT = "127.0.0.1", 9, 2
    with acting_for(cast.own.contractor.pk):
        waiting.pk = waiting.id = uuid.uuid4()
        waiting.save(force_insert=True)
    with clock.clock_at(NOON):
        mails_task.run(str(cast.own.contractor.pk))
    with acting_for(cast.own.contractor.pk):
        assert sorted(Mail.objects.values_list("attempts", "state")) == [(0, "waiting"), (1, "waiting")]


def test_a_connection_that_breaks_in_the_middle_of_the_text_is_tried_again(cast: Cast, waiting: Mail, settings: Any):
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_TIMEOUT = "127.0.0.1", 3
    with server_that_drops_mid_data() as port:
        settings.EMAIL_PORT = port
        mail = run(cast)
    assert (mail.state, mail.attempts) == (OutgoingState.WAITING, 1)
    with mail_server() as server:
        settings.EMAIL_PORT = server.port
        assert run(cast, mail.next_try_at).state == OutgoingState.SENT
        assert [letter.number for letter in server.letters] == [mail.message_id]


def test_a_slow_server_is_waited_for(cast: Cast, waiting: Mail, server: MailServer):
    server.delay_s = 1.0
    assert run(cast).state == OutgoingState.SENT


def test_accepted_but_unrecorded_is_sent_again_under_the_same_id_and_says_so(
    cast: Cast, waiting: Mail, server: MailServer
):
    """The one window that SMTP leaves: the server took it, the answer never came."""
    server.abort = True
    mail = run(cast)
    assert mail.state == OutgoingState.WAITING
    server.abort = False
    mail = run(cast, mail.next_try_at)
    assert mail.state == OutgoingState.SENT
    first, second = server.letters
    assert first.number == second.number == mail.message_id
    assert str(first.message["Date"]) == str(second.message["Date"])


def test_a_worker_that_died_before_the_text_left_no_doubt_and_after_it_one(
    cast: Cast, waiting: Mail, server: MailServer
):
    lease = dt.timedelta(seconds=120)
    for handed, repeats in ((False, 0), (True, 1)):
        with acting_for(cast.own.contractor.pk), clock.clock_at(NOON):
            Mail.objects.update(state="waiting", repeats=0, next_try_at=NOON, claim=None)
            [claimed] = outgoing_claim(Mail.objects.all(), most=5, lease=lease)
            if handed:
                assert outgoing_hand(claimed, lease=lease)
            assert outgoing_claim(Mail.objects.all(), most=5, lease=lease) == []
        assert run(cast, NOON + dt.timedelta(seconds=60)).state == OutgoingState.SENDING  # its claim still stands
        mail = run(cast, NOON + dt.timedelta(seconds=121))
        assert (mail.state, mail.repeats) == (OutgoingState.SENT, repeats)


def test_a_worker_whose_claim_was_taken_sends_nothing(cast: Cast, waiting: Mail, server: MailServer):
    lease = dt.timedelta(seconds=120)
    with acting_for(cast.own.contractor.pk), clock.clock_at(NOON):
        [stalled] = outgoing_claim(Mail.objects.all(), most=5, lease=lease)
    run(cast, NOON + dt.timedelta(seconds=121))
    with acting_for(cast.own.contractor.pk):
        assert not outgoing_hand(stalled, lease=lease)
    assert len(server.letters) == 1


def test_what_was_overtaken_while_the_server_was_away_is_not_sent(cast: Cast, waiting: Mail, server: MailServer):
    server.rcpt["*"] = "450 4.2.1 try again later"
    mail = run(cast)
    server.rcpt.clear()
    with acting_for(cast.own.contractor.pk):
        Notice.objects.update(void_after=NOON + dt.timedelta(seconds=30))
    assert (run(cast, mail.next_try_at).state, row(cast).why) == (OutgoingState.SKIPPED, "late")
    assert server.letters == []


def test_a_later_attempt_waits_for_the_end_of_the_mail_free_hours(cast: Cast, waiting: Mail, server: MailServer):
    server.rcpt["*"] = "450 4.2.1 try again later"
    run(cast)
    server.rcpt.clear()
    night = dt.datetime(2027, 3, 4, 3, tzinfo=dt.UTC)  # 22:00 in New York
    mail = run(cast, night)
    assert (mail.state, mail.next_try_at) == (OutgoingState.WAITING, dt.datetime(2027, 3, 4, 12, tzinfo=dt.UTC))
    assert run(cast, mail.next_try_at).state == OutgoingState.SENT


def test_receivers_stay_apart(cast: Cast, waiting: Mail):
    with acting_for(cast.other.contractor.pk):
        assert (Mail.objects.count(), Receiver.objects.count()) == (0, 0)
