"""/healthz and /readyz: asked by machines that have no host name, no session and no patience."""

from __future__ import annotations

import pytest
from django.db import connections
from django.test import Client
from pytest_django.fixtures import Settings

from resurf import heartbeat


@pytest.fixture
def client() -> Client:
    return Client(headers={"host": "10.1.2.3"})  # a probe asks by number


def all_alive() -> None:
    for queue in heartbeat.queues():
        heartbeat.sign_of_life(heartbeat.queue_sign(queue))
    heartbeat.heartbeat_task()


def test_alive_is_said_without_asking_the_database(client: Client) -> None:
    answer = client.get("/healthz")
    assert answer.status_code == 200
    assert answer.json() == {"alive": True}


@pytest.mark.django_db
def test_ready_when_all_four_parts_are(client: Client) -> None:
    all_alive()
    answer = client.get("/readyz")
    assert answer.status_code == 200
    assert answer.json() == {
        "ready": True,
        "parts": {"database": True, "broker": True, "worker": True, "beat": True},
    }
    assert "no-store" in answer["Cache-Control"]


@pytest.mark.django_db
@pytest.mark.parametrize("missing", ["default", "notices", "weather", "plan"])
def test_not_ready_while_a_queue_has_no_worker(client: Client, missing: str) -> None:
    for queue in heartbeat.queues():
        if queue != missing:
            heartbeat.sign_of_life(heartbeat.queue_sign(queue))
    answer = client.get("/readyz")
    assert answer.status_code == 503
    assert answer.json()["parts"] == {"database": True, "broker": True, "worker": False, "beat": False}


@pytest.mark.django_db
def test_a_worker_silent_for_too_long_is_missed(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    all_alive()
    monkeypatch.setattr(heartbeat, "LATE_AFTER_S", 0.0)
    parts = client.get("/readyz").json()["parts"]
    assert (parts["worker"], parts["beat"]) == (False, False)


@pytest.mark.django_db
def test_not_ready_without_the_broker(client: Client, settings: Settings) -> None:
    settings.CACHES = {"default": {**settings.CACHES["default"], "LOCATION": "unix:///nowhere/valkey.sock"}}
    answer = client.get("/readyz")
    assert answer.status_code == 503
    assert answer.json()["parts"] == {"database": True, "broker": False, "worker": False, "beat": False}


@pytest.mark.django_db(transaction=True)
def test_not_ready_without_the_database(client: Client) -> None:
    all_alive()
    wrapper = connections["default"]
    wrapper.close()
    there = wrapper.settings_dict["HOST"]
    wrapper.settings_dict["HOST"] = "/nowhere"
    try:
        answer = client.get("/readyz")
        assert client.get("/healthz").status_code == 200
    finally:
        wrapper.settings_dict["HOST"] = there
        wrapper.close()
    assert answer.status_code == 503
    assert answer.json()["parts"] == {"database": False, "broker": True, "worker": True, "beat": True}
