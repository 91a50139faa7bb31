"""Two processes at once: one looks, the other steps back; one claims a mail, the other gets the next."""

from __future__ import annotations

import datetime as dt
import threading
from collections import Counter

import pytest
from django.db import connection, transaction

from scheduling.models import Mail, Notice, NoticeWatch
from scheduling.services.notices import notices_look
from scheduling.services.receivers import receivers_of
from shared import clock
from shared.services.outgoing import outgoing_claim
from shared.tenancy.context import acting_for
from shared.tenancy.turns import turn_taken
from tests.cast import FirmCast, make_firm, open_job

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def firm() -> FirmCast:
    return make_firm("own", "Own Basin Works", "us")


def test_while_one_beat_looks_the_other_steps_back(firm: FirmCast):
    taken, over = threading.Event(), threading.Event()

    def other() -> None:
        with transaction.atomic():
            assert turn_taken("notices", firm.contractor.pk)
            taken.set()
            over.wait(20)
        connection.close()

    thread = threading.Thread(target=other)
    thread.start()
    assert taken.wait(20)
    now = clock.now()
    with acting_for(firm.contractor.pk):
        assert notices_look(firm.contractor, now=now) is None
        assert not NoticeWatch.objects.exists()
    over.set()
    thread.join(20)
    with acting_for(firm.contractor.pk):
        assert notices_look(firm.contractor, now=now) is not None


def test_two_beats_that_look_at_once_note_everything_once(firm: FirmCast):
    day = dt.date(2027, 3, 3)
    before = dt.datetime.combine(day, dt.time(5), tzinfo=firm.contractor.tz)
    with acting_for(firm.contractor.pk):
        NoticeWatch.objects.create(looked_at=before)
    now = before + dt.timedelta(hours=2)

    def look() -> None:
        with acting_for(firm.contractor.pk):
            notices_look(firm.contractor, now=now)
        connection.close()

    threads = [threading.Thread(target=look) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    with acting_for(firm.contractor.pk):
        told = Counter(Notice.objects.values_list("kind", "receiver", "cause"))
    assert len(told) == 2  # the digest of office and manager
    assert set(told.values()) == {1}


def test_two_workers_that_claim_at_once_never_hold_one_mail(firm: FirmCast):
    job = open_job(firm)
    with acting_for(firm.contractor.pk):
        [receiver] = receivers_of([("pool_owner", job.pool_owner_id)]).values()
        for n in range(40):
            Mail.objects.create(
                receiver=receiver,
                kind="moved",
                to="a@cast.example",
                subject=str(n),
                text="",
                html="",
                message_id=str(n),
            )
    claimed: list[str] = []

    def claim() -> None:
        while True:
            with acting_for(firm.contractor.pk):
                rows = outgoing_claim(Mail.objects.all(), most=3, lease=dt.timedelta(minutes=5))
            claimed.extend(row.subject for row in rows)
            if not rows:
                break
        connection.close()

    threads = [threading.Thread(target=claim) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert sorted(claimed, key=int) == [str(n) for n in range(40)]
