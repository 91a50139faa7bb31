"""Starting, stopping and being killed: nothing is left behind, nothing that was committed is lost."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator

import psycopg
import pytest

from resurf.embedded import binaries, roll
from resurf.postgresql import roles
from tests.resurf.installation import Installation, come_true, installation


@pytest.fixture
def place() -> Iterator[Installation]:
    with installation() as made:
        yield made


def write_a_row(place: Installation) -> None:
    cluster = place.places.cluster(place.data)
    with psycopg.connect(cluster.url(roles.OWNER)) as connection:
        connection.execute("CREATE TABLE IF NOT EXISTS kept (word text)")
        connection.execute("INSERT INTO kept VALUES ('still here')")


def rows(place: Installation) -> int:
    with psycopg.connect(place.places.cluster(place.data).url(roles.OWNER)) as connection:
        (count,) = connection.execute("SELECT count(*) FROM kept").fetchone() or (0,)
    return int(count)


def child(place: Installation, word: str) -> int:
    (pid,) = [pid for pid, line in place.children().items() if word in line]
    return pid


def test_after_kill_9_nothing_runs_on_and_the_next_start_has_every_row(place: Installation) -> None:
    first = place.start_engines()
    write_a_row(place)
    assert len(place.children()) == 3
    first.kill()
    first.wait()
    second = place.start_engines()
    assert rows(place) == 1
    assert len(place.children()) == 3
    second.kill()
    second.wait()
    assert come_true(lambda: not place.children(), 20), place.children()


def test_sigterm_stops_everything_in_order_and_cleanly(place: Installation) -> None:
    process = place.start_engines()
    process.terminate()
    assert process.wait(60) == 0
    assert place.children() == {}
    log = (place.data / "logs" / "postgres.log").read_text()
    assert "received fast shutdown request" in log
    assert "database system is shut down" in log
    assert not (place.places.engines / "postgres" / "postmaster.pid").exists()
    assert not (place.data / "children.json").exists()


def test_a_second_start_on_the_same_folder_is_refused_in_a_sentence(place: Installation) -> None:
    first = place.start_engines()
    code, said = place.run("manage.py", "demo")
    assert code == 1
    assert f"{place.data} is in use by process {first.pid}." in said
    assert "--data" in said
    assert "Traceback" not in said


@pytest.mark.parametrize("victim", ["bin/postgres -D", "valkey-server", "time.sleep"])
def test_a_child_that_is_killed_comes_back(place: Installation, victim: str) -> None:
    place.start_engines()
    write_a_row(place)
    before = child(place, victim)
    os.kill(before, signal.SIGKILL)
    assert come_true(lambda: [pid for pid, line in place.children().items() if victim in line] not in ([], [before]))
    assert come_true(lambda: answers(place))
    assert rows(place) == 1


def answers(place: Installation) -> bool:
    return place.places.cluster(place.data).answers()


def test_a_process_number_that_now_belongs_to_a_stranger_does_not_stop_the_start(place: Installation) -> None:
    first = place.start_engines()
    write_a_row(place)
    first.kill()
    first.wait()
    come_true(lambda: not place.children())
    with subprocess.Popen([sys.executable, "-c", "import time; time.sleep(600)"]) as stranger:
        try:
            lock = place.places.engines / "postgres" / "postmaster.pid"
            lock.write_text(f"{stranger.pid}\n{lock.parent}\n1\n5432\n")
            place.start_engines()
            assert rows(place) == 1
            assert stranger.poll() is None
        finally:
            stranger.kill()


def test_a_server_left_behind_on_the_data_is_stopped_first(place: Installation) -> None:
    process = place.start_engines()
    process.send_signal(signal.SIGTERM)
    process.wait(60)
    install = binaries.reachable_postgres(place.places.account, place.places.engines)
    cluster = place.places.cluster(install)
    left_behind = cluster.start()
    place.start_engines()
    assert left_behind.wait(10) == 0
    assert cluster.answers()


def test_children_left_behind_are_stopped_and_strangers_are_not(place: Installation) -> None:
    place.data.mkdir(parents=True)
    idle = [sys.executable, "-c", "import time; time.sleep(600)"]
    with subprocess.Popen(idle, process_group=0) as ours, subprocess.Popen(idle, process_group=0) as stranger:
        written = place.data / "children.json"
        roll.write(written, {"ours": ours.pid, "stranger": stranger.pid})
        rows = json.loads(written.read_text())
        rows["stranger"]["born"] = "long before"  # the number was another process's then
        written.write_text(json.dumps(rows))
        try:
            order = {"ours": signal.SIGTERM, "stranger": signal.SIGTERM}
            assert roll.stop_left_behind(written, order) == ["ours"]
            assert ours.wait(5) == -signal.SIGTERM
            assert stranger.poll() is None
        finally:
            stranger.kill()
            ours.kill()
