"""The demonstration, whole: web, workers, beat, database, broker."""

from __future__ import annotations

import json
import os
import signal
import socket
import urllib.request
from collections.abc import Iterator

import pytest

from resurf.management.commands.demo import ready
from tests.resurf.installation import Installation, come_true, free_port, installation


@pytest.fixture
def place() -> Iterator[Installation]:
    with installation() as made:
        yield made


def test_the_whole_service_starts_says_where_it_is_mends_itself_and_stops(place: Installation) -> None:
    port = free_port()
    address = f"http://127.0.0.1:{port}"
    demo = place.start("manage.py", "demo", "--bare", "--port", str(port))
    place.wait_for("Ready", demo)
    assert f"{address}/" in place.said()
    with urllib.request.urlopen(f"{address}/readyz") as answer:
        parts = json.load(answer)["parts"]
    assert parts == {"database": True, "broker": True, "worker": True, "beat": True}

    running = place.children()
    for name in ("gunicorn", "--hostname messages", "--hostname plans", "--quiet beat", "postgres", "valkey"):
        assert any(name in line for line in running.values()), name
    web = min(pid for pid, line in running.items() if "gunicorn" in line)
    os.kill(web, signal.SIGKILL)
    assert come_true(lambda: web not in place.children() and ready(address))

    demo.terminate()
    assert demo.wait(60) == 0
    assert place.children() == {}
    assert place.said().endswith("Stopped.\n")

    code, said = place.run("manage.py", "doctor")  # at once: the signs of life are still young
    assert code == 0
    assert "note  worker" in said
    assert "note  beat" in said


def test_a_taken_port_is_refused_in_a_sentence(place: Installation) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        code, said = place.run("manage.py", "demo", "--port", str(port))
    assert code == 1
    assert f"Port {port} on 127.0.0.1 cannot be used" in said
    assert f"--port {port + 1}" in said
    assert "Traceback" not in said


def test_servers_of_ones_own_are_refused_in_a_sentence(place: Installation) -> None:
    code, said = place.run("manage.py", "demo", REDIS_URL="redis://127.0.0.1:1")
    assert code == 1
    assert said.endswith("REDIS_URL is set, but the demonstration brings its own servers: unset it first.\n")
    assert "Traceback" not in said
