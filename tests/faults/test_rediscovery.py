"""The row is the queue: with every message gone, or the clock put back, the sweeps find all work again."""

from __future__ import annotations

import datetime as dt

import pytest
from django.conf import settings
from redis import Redis

from jobs.tasks import cells_fetch_task
from resurf import addresses
from scheduling.models import PlanRun, RunState
from scheduling.services.plan_runs import SILENT_S, plan_ask
from scheduling.tasks import refresh_task, sweep_task
from shared import clock
from shared.tenancy.context import acting_for
from tests.broker import taken
from tests.cast import Cast, expect, open_job


def flush() -> None:
    """What a restart without its data does to the broker."""
    number = int(settings.CELERY_BROKER_URL.rsplit("=", 1)[1])
    Redis.from_url(addresses.cache(settings.REDIS_URL, number)).flushdb()


def asked_run(cast: Cast) -> PlanRun:
    expect(open_job(cast.own), cast.own)
    with acting_for(cast.own.contractor.pk):
        return plan_ask(cast.own.contractor, by=cast.own.office)


def running(cast: Cast, run: PlanRun, beat_at: dt.datetime) -> None:
    with acting_for(cast.own.contractor.pk):
        PlanRun.objects.filter(pk=run.pk).update(state=RunState.RUNNING, beat_at=beat_at, attempts=1)


def woken() -> list[str]:
    sweep_task.run()
    return [str(arguments[1]) for task, arguments in taken("plan") if task == "scheduling.plan_search"]


@pytest.mark.django_db(transaction=True)
def test_searches_of_a_flushed_broker_are_woken_from_their_rows(cast: Cast) -> None:
    run = asked_run(cast)
    flush()
    assert taken("plan") == []
    with clock.clock_at(clock.now() + dt.timedelta(seconds=30)):
        assert woken() == [str(run.pk)]


@pytest.mark.django_db(transaction=True)
def test_weather_and_expected_dates_of_a_flushed_broker_come_with_the_next_beat(cast: Cast) -> None:
    asked_run(cast)
    flush()
    cells_fetch_task.run()
    refresh_task.run()
    found = [task for task, _ in taken("weather")]
    assert found.count("scheduling.expected_dates") == 2  # a task a firm


@pytest.mark.django_db(transaction=True)
def test_a_search_that_died_before_the_clock_was_put_back_is_found(cast: Cast) -> None:
    run, now = asked_run(cast), clock.now()
    flush()
    running(cast, run, beat_at=now)
    with clock.clock_at(now - dt.timedelta(hours=2)):
        assert woken() == [str(run.pk)]


@pytest.mark.django_db(transaction=True)
def test_a_search_that_lives_is_left_alone(cast: Cast) -> None:
    run, now = asked_run(cast), clock.now()
    taken("plan")
    running(cast, run, beat_at=now)
    with clock.clock_at(now + dt.timedelta(seconds=SILENT_S - 10)):
        assert woken() == []


@pytest.mark.django_db(transaction=True)
def test_a_search_asked_for_before_the_clock_was_put_back_is_woken(cast: Cast) -> None:
    run, now = asked_run(cast), clock.now()
    flush()
    with clock.clock_at(now - dt.timedelta(hours=2)):
        assert woken() == [str(run.pk)]
