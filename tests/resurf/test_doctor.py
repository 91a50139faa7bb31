"""`manage.py doctor`: finds what is wrong, and says so in a sentence."""

from __future__ import annotations

import gzip
import shutil
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest
from django.conf import settings as django_settings
from django.db import connections
from pytest_django.fixtures import Settings
from redis import Redis

from jobs.timeline.weather_files import FOLDER
from resurf import addresses, heartbeat
from resurf.checkup import database, machine, messages, queue, weather
from resurf.checkup.finding import Finding, State
from resurf.postgresql.base import DatabaseWrapper
from tests.resurf.installation import Installation, free_port, installation


def states(findings: list[Finding]) -> dict[str, State]:
    return {finding.part: finding.state for finding in findings}


def wrapper() -> DatabaseWrapper:
    made = connections["default"]
    assert isinstance(made, DatabaseWrapper)
    return made


@pytest.mark.django_db
def test_a_sound_database_has_nothing_wrong() -> None:
    assert states(database.database()) == dict.fromkeys(
        ("database", "role", "owner", "migrations", "fences", "trail"), State.GOOD
    )


@pytest.mark.django_db(transaction=True)
def test_a_service_that_runs_as_the_owner_is_found() -> None:
    with wrapper().as_owner():
        finding = database.role()
    assert finding.state is State.BAD
    assert "owns objects" in finding.sentence
    assert "is a member of another role" in finding.sentence


@pytest.mark.django_db(transaction=True)
def test_a_trail_that_could_be_changed_is_found() -> None:
    with wrapper().as_owner(), wrapper().cursor() as cursor:
        cursor.execute("GRANT UPDATE ON shared_auditentry TO resurf_app")
    try:
        finding = database.trail()
    finally:
        with wrapper().as_owner(), wrapper().cursor() as cursor:
            cursor.execute("REVOKE UPDATE ON shared_auditentry FROM resurf_app")
    assert finding.state is State.BAD
    assert finding.sentence == "The service's role may UPDATE lines of the audit trail."


@pytest.mark.django_db
def test_a_missing_migration_is_found() -> None:
    with wrapper().cursor() as cursor:
        cursor.execute("DELETE FROM django_migrations WHERE app = 'sessions'")
    finding = database.migrations()
    assert finding.state is State.BAD
    assert finding.sentence == "1 are missing, from sessions.0001_initial on: run `manage.py migrate`."


@pytest.fixture
def unfenced_table() -> Iterator[str]:
    with wrapper().as_owner(), wrapper().cursor() as cursor:
        cursor.execute("CREATE TABLE loose (contractor_id uuid)")
    yield "loose"
    with wrapper().as_owner(), wrapper().cursor() as cursor:
        cursor.execute("DROP TABLE loose")


@pytest.mark.django_db(transaction=True)
def test_a_table_of_the_firms_without_a_policy_is_found(unfenced_table: str) -> None:
    finding = database.fences()
    assert finding.state is State.BAD
    assert finding.sentence.endswith(f": {unfenced_table}.")
    with wrapper().as_owner(), wrapper().cursor() as cursor:
        cursor.execute("ALTER TABLE loose ENABLE ROW LEVEL SECURITY")  # does not bind the owner
        cursor.execute("CREATE POLICY firm ON loose USING (true)")
    assert database.fences().state is State.BAD
    with wrapper().as_owner(), wrapper().cursor() as cursor:
        cursor.execute("ALTER TABLE loose FORCE ROW LEVEL SECURITY")
    assert database.fences().state is State.GOOD


@pytest.mark.usefixtures("engines")
def test_missing_workers_are_bad_only_where_they_are_meant_to_run() -> None:
    assert states(queue.queue(running_is_expected=True))["worker"] is State.BAD
    assert states(queue.queue(running_is_expected=False))["worker"] is State.NOTE
    for name in heartbeat.queues():
        heartbeat.sign_of_life(heartbeat.queue_sign(name))
    found = states(queue.queue(running_is_expected=True))
    assert (found["worker"], found["beat"]) == (State.GOOD, State.BAD)


@pytest.mark.usefixtures("engines")
def test_a_broker_that_may_drop_messages_is_found() -> None:
    client = Redis.from_url(addresses.cache(django_settings.REDIS_URL))
    client.config_set("maxmemory-policy", "allkeys-lru")
    try:
        findings = queue.queue(running_is_expected=False)
    finally:
        client.config_set("maxmemory-policy", "noeviction")
        client.close()
    assert any(finding.state is State.BAD and "allkeys-lru" in finding.sentence for finding in findings)


def test_a_broker_that_is_away_is_found(settings: Settings) -> None:
    settings.REDIS_URL = "unix:///nowhere/valkey.sock"
    assert states(queue.queue(running_is_expected=False)) == {"broker": State.BAD}


class Disk(NamedTuple):
    total: int
    used: int
    free: int


@pytest.mark.parametrize(
    ("free_bytes", "state"), [(50 * 1024**3, State.GOOD), (1024**3, State.NOTE), (1024**2, State.BAD)]
)
def test_a_full_disk_is_found(free_bytes: int, state: State, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shutil, "disk_usage", lambda place: Disk(free_bytes, 0, free_bytes))
    assert machine.disk(tmp_path / "not" / "made" / "yet").state is state


def test_weather_files_that_are_missing_or_cut_short_are_found(tmp_path: Path) -> None:
    assert weather.files().state is State.GOOD
    assert weather.files(tmp_path).state is State.BAD
    whole = next(FOLDER.glob("*.csv.gz"))
    (tmp_path / whole.name).write_bytes(whole.read_bytes()[:-2000])
    assert weather.files(tmp_path).state is State.BAD
    (tmp_path / whole.name).write_bytes(gzip.compress(b"# station: x\nhour_ending_utc\n2024-01-01T00:00Z\n"))
    assert whole.name in weather.files(tmp_path).sentence


def test_a_mail_server_that_does_not_answer_is_found(settings: Settings) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", free_port()
    finding = messages.mail()
    assert finding.state is State.BAD
    assert finding.sentence.startswith(f"127.0.0.1:{settings.EMAIL_PORT} does not take e-mail")


def test_mail_into_files_is_noted(settings: Settings) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    settings.EMAIL_FILE_PATH = "/srv/mail"
    assert messages.mail().state is State.NOTE


@pytest.fixture
def place() -> Iterator[Installation]:
    with installation() as made:
        yield made


def test_a_fresh_installation_is_found_sound(place: Installation) -> None:
    code, said = place.run("manage.py", "doctor")
    assert code == 0, said
    assert "BAD" not in said
    assert "The demonstration does not run" in said
    assert place.children() == {}


def test_servers_that_do_not_answer_make_it_fail(place: Installation) -> None:
    with socket.socket() as closed:
        closed.bind(("127.0.0.1", 0))
        port = closed.getsockname()[1]
        code, said = place.run(
            "manage.py",
            "doctor",
            DATABASE_URL=f"postgresql://resurf_app:pw@127.0.0.1:{port}/resurf",
            REDIS_URL=f"redis://127.0.0.1:{port}",
            SECRET_KEY="x",
        )
    assert code == 1
    assert "BAD   database    No connection" in said
    assert "BAD   broker" in said
    assert "Traceback" not in said
    assert "pw" not in said
