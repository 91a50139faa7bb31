"""Requests a second for a calendar on one core: `python -m tests.benchmarks.feeds --json`.

A crew's feed of fifty stints is asked for again and again, whole and with the mark of what is known already (304).
Beside it Radicale, a general-purpose calendar server in Python, serves a collection with the same events: it answers
from its files, knows no firms and no links. Both run as one process of one thread on one core; the asking process has
another core. Besides requests a second it says the processor time of the server a request, which other work on the
machine hardly changes (the database's and Valkey's own time is not in it). Servers and data are thrown away afterwards;
nothing leaves the loopback address. Bounded: some 40 s.
"""

# ruff: noqa: PLC0415  the servers' addresses must be known before Django reads its settings
from __future__ import annotations

import argparse
import contextlib
import datetime as dt
import http.client
import itertools
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from resurf.testing import ThrowAwayEngines
from tests.mail_server import free_port

EVENTS: Final = 50
LINKS: Final = 400  # each may be asked sixty times a minute
ROUNDS: Final = 3
ROUND_S: Final = 3.0
WARM: Final = 20
# The login "bench" of the peer, which asks for no password, and what a proxy in front of ours would say.
LOGIN: Final = {"Authorization": "Basic YmVuY2g6eA==", "X-Forwarded-Proto": "https"}
PROJECT: Final = Path(__file__).resolve().parents[2]


def main() -> None:
    parser = argparse.ArgumentParser(description="Requests a second for a calendar, beside a general-purpose server.")
    parser.add_argument("--json", action="store_true", help="print only the JSON line")
    options = parser.parse_args()
    engines = ThrowAwayEngines.planned()
    try:
        os.environ.update({"DJANGO_SETTINGS_MODULE": "resurf.settings", **engines.environment()})
        engines.start()
        found = _on_a_database()
    finally:
        engines.stop()
    if not options.json:
        for name, value in found.items():
            print(f"{name:<22}{value}")
    print(json.dumps(found))


def _on_a_database() -> dict[str, Any]:
    import django
    from django.test.utils import setup_databases, teardown_databases

    django.setup()
    databases = setup_databases(verbosity=0, interactive=False, serialized_aliases=set())
    try:
        secrets, body = _links()
        ours = _measured(_resurf, [f"/feeds/{secret}/fill-days.ics" for secret in secrets])
        peer = _measured(lambda core: _radicale(core, body), ["/bench/calendar/"])
    finally:
        teardown_databases(databases, verbosity=0)
    return {
        "full_per_s": ours["full"],
        "not_modified_per_s": ours["same"],
        "peer_full_per_s": peer["full"],
        "peer_not_modified_per_s": peer["same"],
        "full_cpu_ms": ours["full_ms"],
        "not_modified_cpu_ms": ours["same_ms"],
        "peer_full_cpu_ms": peer["full_ms"],
        "peer_not_modified_cpu_ms": peer["same_ms"],
        "events": EVENTS,
        "bytes": ours["bytes"],
        "peer_bytes": peer["bytes"],
        "peer": "Radicale",
        "peer_not_modified_status": peer["status"],
    }


def _links() -> tuple[list[str], bytes]:
    """Many links to one crew's calendar of fifty stints, and its bytes."""
    from scheduling.calendars import feed_bytes
    from scheduling.models import CalendarEntry
    from scheduling.selectors.feeds import feed_of
    from shared import clock
    from shared.ids import uuid7
    from shared.models import TokenKind
    from shared.services.tokens import token_make
    from shared.tenancy.context import acting_for
    from tests.cast import make_firm, open_job

    firm = make_firm("bench", "Bench Basin Works", "us")
    job = open_job(firm)
    now = clock.now()
    with acting_for(firm.contractor.pk):
        for n in range(EVENTS):
            starts = now.replace(minute=0, second=0, microsecond=0) + dt.timedelta(hours=26 * n)
            number = uuid7()
            CalendarEntry.objects.create(
                id=number,
                job=job,
                key=f"startup_{n}",
                uid=f"{number}@resurf",
                fingerprint="bench",
                crew_id=firm.crews["water"].pk,
                starts=starts,
                ends=starts + dt.timedelta(hours=2),
                facts={"stage": "start_up"},
                confirmed=True,
                created_at=now,
                changed_at=now,
            )
        tokens = [token_make(TokenKind.FEED, "crew", subject_id=firm.crews["water"].pk) for _ in range(LINKS)]
        return [token.secret for token in tokens], feed_bytes(feed_of(tokens[0]))


def _measured(server: Callable[[int], Any], paths: list[str]) -> dict[str, Any]:
    """Medians over rounds, full and not modified in turn."""
    cores = sorted(os.sched_getaffinity(0))
    os.sched_setaffinity(0, {cores[-1]})
    try:
        with server(cores[0]) as (port, pid):
            known = _ask(port, paths[0])
            for n in range(WARM):
                _ask(port, paths[n % len(paths)])
            full, same = [], []
            for _ in range(ROUNDS):
                full.append(_round(port, pid, paths, {}))
                same.append(_round(port, pid, paths, {"If-None-Match": known.headers["ETag"]}))
            status = same[-1].status
            return {
                "full": round(statistics.median(one.per_s for one in full), 1),
                "same": round(statistics.median(one.per_s for one in same), 1),
                "full_ms": round(statistics.median(one.cpu_ms for one in full), 2),
                "same_ms": round(statistics.median(one.cpu_ms for one in same), 2),
                "bytes": known.size,
                "status": status,
            }
    finally:
        os.sched_setaffinity(0, set(cores))


class _Answer:
    def __init__(self, answer: http.client.HTTPResponse) -> None:
        self.status, self.headers, self.size = answer.status, answer.headers, len(answer.read())


def _ask(port: int, path: str, headers: dict[str, str] | None = None) -> _Answer:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    try:
        connection.request("GET", path, headers=LOGIN | (headers or {}))
        return _Answer(connection.getresponse())
    finally:
        connection.close()


@dataclass(frozen=True)
class _Round:
    """Requests a second, the server's own processor time a request, the last status."""

    per_s: float
    cpu_ms: float
    status: int


_turn = itertools.count()


def _round(port: int, pid: int, paths: list[str], headers: dict[str, str]) -> _Round:
    """One request after the other, each on a connection of its own, for a few seconds."""
    began, cpu, count, status = time.perf_counter(), _cpu_s(pid), 0, 0
    while time.perf_counter() - began < ROUND_S:
        status = _ask(port, paths[next(_turn) % len(paths)], headers).status
        if status not in (200, 304):
            raise RuntimeError(f"{paths[0]} answered {status}")
        count += 1
    return _Round(count / (time.perf_counter() - began), 1000 * (_cpu_s(pid) - cpu) / count, status)


def _cpu_s(pid: int) -> float:
    """Processor time of a process and its children so far (Linux)."""
    children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    ticks = 0
    for one in (str(pid), *children):
        with contextlib.suppress(OSError):
            ticks += sum(int(part) for part in Path(f"/proc/{one}/stat").read_text().rpartition(")")[2].split()[11:13])
    return ticks / os.sysconf("SC_CLK_TCK")


@contextmanager
def _resurf(core: int) -> Iterator[tuple[int, int]]:
    from django.db import connection

    base, _, query = os.environ["DATABASE_URL"].partition("?")
    name = str(connection.settings_dict["NAME"])
    address = f"{base.rpartition('/')[0]}/{name}{'?' if query else ''}{query}"
    port = free_port()
    # As in production: connections are kept, and a proxy in front speaks https.
    environment = {**os.environ, "DATABASE_URL": address, "LOG_LEVEL": "ERROR", "BEHIND_PROXY": "1"}
    del environment["RESURF_TESTING"]
    command = [sys.executable, "-m", "gunicorn", "resurf.wsgi", "--bind", f"127.0.0.1:{port}", "--workers", "1"]
    command += ["--threads", "1", "--worker-class", "gthread", "--log-level", "error"]
    with _running(command, core, environment) as pid:
        _wait(port)
        yield port, pid


@contextmanager
def _radicale(core: int, body: bytes) -> Iterator[tuple[int, int]]:
    with tempfile.TemporaryDirectory() as folder:
        port = free_port()
        settings = Path(folder) / "config"
        settings.write_text(
            f"[server]\nhosts = 127.0.0.1:{port}\n[auth]\ntype = none\n[rights]\ntype = owner_only\n"
            f"[storage]\nfilesystem_folder = {folder}/collections\n[logging]\nlevel = error\n"
        )
        command = [sys.executable, "-m", "radicale", "--config", str(settings)]
        with _running(command, core, dict(os.environ)) as pid:
            _wait(port)
            connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
            connection.request("PUT", "/bench/calendar/", body=body, headers=LOGIN | {"Content-Type": "text/calendar"})
            answer = connection.getresponse()
            if answer.status not in (201, 204):
                raise RuntimeError(f"Radicale took no calendar: {answer.status} {answer.read()!r}")
            connection.close()
            yield port, pid


@contextmanager
def _running(command: list[str], core: int, environment: dict[str, str]) -> Iterator[int]:
    pinned = ["taskset", "--cpu-list", str(core), *command]
    server = subprocess.Popen(
        pinned, cwd=PROJECT, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        yield server.pid
    finally:
        server.terminate()
        with contextlib.suppress(subprocess.TimeoutExpired):
            server.wait(10)
        if server.poll() is None:
            server.kill()
            server.wait(5)


def _wait(port: int) -> None:
    for _ in range(200):
        with contextlib.suppress(OSError):
            _ask(port, "/healthz")
            return
        time.sleep(0.1)
    raise RuntimeError("the server did not come up")


if __name__ == "__main__":
    main()
