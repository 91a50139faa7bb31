"""Tasks: a named queue each, one worker that plans never take, a broker that may be away."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from celery import Celery, current_app, shared_task
from django.conf import settings
from django.db import connection, transaction
from kombu.exceptions import OperationalError
from redis import Redis

from resurf import addresses
from resurf.celery import WakingTask, app
from resurf.embedded.programs import programs
from resurf.heartbeat import heartbeat_task, queues
from shared.waking import task_wake

pytestmark = pytest.mark.usefixtures("engines")


def only_ever_sent(row: str) -> None:
    """What a task of these tests would do."""


wake_task: Any = shared_task(name="tests.wake", on_queue="notices")(only_ever_sent)  # type: ignore[call-overload]  # the stubs do not know the option


@pytest.fixture
def broker() -> Iterator[Redis]:
    number = int(settings.CELERY_BROKER_URL.rsplit("=", 1)[1])
    client = Redis.from_url(addresses.cache(settings.REDIS_URL, number))
    client.flushdb()
    yield client
    client.flushdb()
    client.close()


def waiting(broker: Redis) -> dict[str, int]:
    return {queue: int(broker.llen(queue)) for queue in queues() if broker.llen(queue)}


def test_a_message_waits_in_the_one_queue_of_its_task(broker: Redis) -> None:
    wake_task.delay("a row")
    assert waiting(broker) == {"notices": 1}
    heartbeat_task.delay()
    assert waiting(broker) == {"notices": 1, "default": 1}


def test_a_message_is_json_and_carries_the_id_alone(broker: Redis) -> None:
    wake_task.delay("a row")
    message = json.loads(broker.lindex("notices", 0))  # type: ignore[arg-type]  # wider than the declared kind
    assert message["content-type"] == "application/json"
    assert message["headers"]["argsrepr"] == "('a row',)"


def test_every_task_names_a_queue_that_exists() -> None:
    app.loader.import_default_modules()
    ours = {name: task for name, task in app.tasks.items() if not name.startswith("celery.")}
    assert "resurf.heartbeat" in ours
    for name, task in ours.items():
        assert getattr(task, "on_queue", None) in queues(), name


def test_every_scheduled_task_exists() -> None:
    app.loader.import_default_modules()
    for name, entry in settings.CELERY_BEAT_SCHEDULE.items():
        assert entry["task"] in app.tasks, name


def test_a_task_ends_before_its_message_counts_as_lost() -> None:
    lost_after_s = settings.CELERY_BROKER_TRANSPORT_OPTIONS["visibility_timeout"]
    app.loader.import_default_modules()
    assert app.conf.task_soft_time_limit < app.conf.task_time_limit < lost_after_s
    for name, task in app.tasks.items():
        assert (task.time_limit or 0) < lost_after_s, name


@pytest.mark.django_db(transaction=True)
def test_a_message_leaves_after_the_commit_and_not_after_a_rollback(broker: Redis) -> None:
    assert isinstance(wake_task, WakingTask)
    with transaction.atomic():
        wake_task.delay_on_commit("a row")
        assert waiting(broker) == {}
    assert waiting(broker) == {"notices": 1}
    with pytest.raises(ZeroDivisionError), transaction.atomic():
        wake_task.delay_on_commit("a row")
        raise ZeroDivisionError
    assert waiting(broker) == {"notices": 1}


@pytest.mark.django_db(transaction=True)
def test_what_was_committed_stays_so_while_the_broker_is_away(caplog: pytest.LogCaptureFixture) -> None:
    away = Celery("away", task_cls=WakingTask, broker="redis+socket:///nowhere/valkey.sock", set_as_current=False)
    away.conf.task_publish_retry_policy = settings.CELERY_TASK_PUBLISH_RETRY_POLICY
    lost_task = away.task(name="tests.lost")(only_ever_sent)
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("INSERT INTO django_session VALUES ('kept', 'v', now())")
        lost_task.delay_on_commit("a row")
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM django_session WHERE session_key = 'kept'")
        assert cursor.fetchone() == (1,)
    assert "message_not_sent" in caplog.text


def test_a_plan_never_takes_the_last_worker(tmp_path: Path) -> None:
    commands = [program.command for program in programs(tmp_path, 8000) if "worker" in program.command]
    served = [command[command.index("--queues") + 1].split(",") for command in commands]
    assert {queue for one in served for queue in one} == set(queues())
    free_of_plans = [one for one in served if "plan" not in one]
    assert {queue for one in free_of_plans for queue in one} == set(queues()) - {"plan"}


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("error", [OperationalError("no broker"), OSError("no socket"), ZeroDivisionError("a mistake")])
def test_an_answer_that_was_kept_never_fails_for_want_of_a_broker(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture, error: Exception
) -> None:
    """Where Django's robust hooks fail they ask for the function's name, which a partial has not."""

    def fails(*args: object, **how: object) -> None:
        raise error

    monkeypatch.setattr(current_app, "send_task", fails)
    with transaction.atomic():
        task_wake("scheduling.mails", "a firm", queue="notices")
    assert str(error) in caplog.text
