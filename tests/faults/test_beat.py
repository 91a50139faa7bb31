"""Beat and its messages: lost, late, doubled. What has to be done is found again from rows, and done once."""

from __future__ import annotations

import datetime as dt

import pytest
from celery import current_app, signals
from django.conf import settings
from django.db import connection

from jobs.adapters.weather.fetch import Feed
from scheduling.models import HookCall, Mail
from scheduling.notice_tasks import outgoing_sweep_task
from scheduling.services import hook_calls, mails
from scheduling.views.plan_run import SECONDS
from shared import clock
from shared.models import OutgoingState
from shared.tenancy.context import acting_for
from tests.broker import taken
from tests.cast import Cast, FirmCast
from tests.faults.test_rediscovery import flush
from tests.isolation.world import TwoFirms, tenant_tables, two_firms
from tests.test_every_url import ids_of

LEASE = dt.timedelta(seconds=settings.OUTGOING_LEASE_S)


def waiting(firm: FirmCast) -> None:
    """A mail and a call of a hook that nobody woke a worker for."""
    ids_of(firm)
    with acting_for(firm.contractor.pk):
        for rows in (Mail.objects.all(), HookCall.objects.all()):
            rows.update(state=OutgoingState.WAITING, next_try_at=clock.now(), attempts=0)


def woken(queue: str) -> list[str]:
    return [name for name, _ in taken(queue)]


@pytest.mark.django_db(transaction=True)
def test_mails_and_calls_of_a_flushed_broker_are_woken_from_their_rows(cast: Cast) -> None:
    waiting(cast.own)
    flush()
    outgoing_sweep_task.run()
    firm = str(cast.own.contractor.pk)
    assert sorted(taken("notices")) == [("scheduling.hook_calls", [firm]), ("scheduling.mails", [firm])]


@pytest.mark.django_db(transaction=True)
def test_a_worker_that_died_while_sending_is_followed_when_its_claim_is_over(cast: Cast) -> None:
    waiting(cast.own)
    taken("notices")
    with acting_for(cast.own.contractor.pk):
        for rows in (Mail.objects.all(), HookCall.objects.all()):
            rows.update(state=OutgoingState.SENDING, claimed_until=clock.now() + LEASE)
    outgoing_sweep_task.run()
    assert woken("notices") == []  # it may live
    with clock.clock_at(clock.now() + 2 * LEASE):
        outgoing_sweep_task.run()
    assert sorted(woken("notices")) == ["scheduling.hook_calls", "scheduling.mails"]


@pytest.mark.django_db(transaction=True)
def test_a_beat_that_comes_back_looks_at_once(db: None) -> None:
    flush()
    signals.beat_init.send(sender=None)
    assert woken("default") == ["resurf.heartbeat"]
    assert woken("notices") == ["scheduling.notices_look"]


@pytest.fixture
def world(db: None) -> TwoFirms:
    with clock.clock_at(clock.now()):
        return two_firms()


def rows(firm: FirmCast) -> dict[str, str]:
    """A fingerprint of each table of the firm."""
    found = {}
    with acting_for(firm.contractor.pk), connection.cursor() as cursor:
        for table in tenant_tables():
            cursor.execute(f"SELECT md5(COALESCE(string_agg(t::text, '' ORDER BY id), '')) FROM \"{table}\" t")
            found[table] = cursor.fetchone()[0]
    return found


@pytest.mark.parametrize("name", sorted(settings.CELERY_BEAT_SCHEDULE))
def test_what_two_beats_send_is_done_once(world: TwoFirms, name: str) -> None:
    """Each scheduled task a second time at the same moment changes no row of a firm."""
    current_app.loader.import_default_modules()
    task = current_app.tasks[settings.CELERY_BEAT_SCHEDULE[name]["task"]]
    with clock.clock_at(clock.now()):
        task.run(*settings.CELERY_BEAT_SCHEDULE[name].get("args", ()))
        once = rows(world.cast.own)
        task.run(*settings.CELERY_BEAT_SCHEDULE[name].get("args", ()))
        assert rows(world.cast.own) == once


def test_what_a_task_does_by_itself_ends_before_its_limit() -> None:
    """Loops over rows, the longest search, a source with all its tries: all below the soft limit."""
    limit = settings.CELERY_TASK_SOFT_TIME_LIMIT
    whole = Feed("http://127.0.0.1", "office@example.org").whole_s
    assert max(mails.MOST_SECONDS, hook_calls.MOST_SECONDS) + settings.OUTGOING_LEASE_S < limit
    assert max(SECONDS) < limit / 2
    assert 2 * whole < limit  # a place and its grid
    assert limit < settings.CELERY_TASK_TIME_LIMIT < settings.CELERY_BROKER_TRANSPORT_OPTIONS["visibility_timeout"]
