"""Whether the clock tells what an answer does not: `python -m tests.faults.timing --json`.

Pairs of requests over the loopback address, each pair in an order drawn by lot, their times compared by ranks:

- a page by the id of a neighbour's job, and by an id that nobody has (both 404), as a screen and by the API;
- a log-in with the address of a person and a wrong password, and with an address that nobody has;
- the wish for a new password for either.

Beside them stands a control: the same request twice in a pair, which tells how far chance alone carries. A share of 0.5
means that either is the slower one as often; *p* is that of the Wilcoxon signed-rank test on the paired times. The web
server is the one of production with one process; limits on tries are lifted between pairs by forgetting the counts.
Servers and data are thrown away afterwards. Bounded: about two minutes.
"""

# ruff: noqa: PLC0415  the servers' addresses must be known before Django reads its settings
from __future__ import annotations

import argparse
import http.client
import json
import os
import random
import re
import statistics
import subprocess
import sys
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlencode

from scipy import stats

from resurf.testing import ThrowAwayEngines
from shared.ids import uuid7
from tests.mail_server import free_port

PROJECT: Final = Path(__file__).resolve().parents[2]
PAIRS: Final = 400
PAIRS_OF_LOG_INS: Final = 300  # a log-in costs Argon2's tenths of a second
WARM: Final = 20
SEED: Final = 11
HOST: Final = {"Host": "127.0.0.1"}

Ask = Callable[[], tuple[int, float]]


@dataclass
class Site:
    """The running server and what is asked of it."""

    port: int
    cookie: str
    token: str
    foreign: list[str]
    known: list[str]

    def __post_init__(self) -> None:
        self.line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        self.lot = random.Random(SEED)

    def get(self, path: str, **headers: str) -> tuple[int, float]:
        return self._timed("GET", path, None, headers)

    def post(self, path: str, fields: dict[str, str], **headers: str) -> tuple[int, float]:
        headers |= {"Content-Type": "application/x-www-form-urlencoded", "Referer": "http://127.0.0.1/"}
        return self._timed("POST", path, urlencode(fields), headers)

    def _timed(self, method: str, path: str, body: str | None, headers: dict[str, str]) -> tuple[int, float]:
        begun = time.perf_counter()
        self.line.request(method, path, body, {**HOST, **headers})
        answer = self.line.getresponse()
        answer.read()
        return answer.status, time.perf_counter() - begun


def compared(one: Ask, other: Ask, *, pairs: int, lot: random.Random, between: Callable[[], None]) -> dict[str, Any]:
    """Times of both [ms], how often the first was the slower one, and how likely chance alone does that."""
    first: list[float] = []
    second: list[float] = []
    statuses = set()
    for number in range(pairs + WARM):
        between()
        turns = [(one, first), (other, second)]
        lot.shuffle(turns)
        for ask, times in turns:
            status, seconds = ask()
            statuses.add(status)
            if number >= WARM:
                times.append(1000 * seconds)
    slower = sum((a > b) + 0.5 * (a == b) for a, b in zip(first, second, strict=True)) / pairs
    return {
        "pairs": pairs,
        "statuses": sorted(statuses),
        "median_ms": [round(statistics.median(first), 2), round(statistics.median(second), 2)],
        "median_difference_ms": round(statistics.median(a - b for a, b in zip(first, second, strict=True)), 3),
        "first_slower": round(slower, 3),
        "p": round(float(stats.wilcoxon(first, second).pvalue), 4),
    }


def measured(site: Site, pairs: int) -> dict[str, dict[str, Any]]:
    cookie, token = {"Cookie": f"sessionid={site.cookie}"}, {"Authorization": f"Bearer {site.token}"}
    foreign = _in_turn(site.foreign)
    known = _in_turn(site.known)
    crossing, fields = _form(site)

    def log_in(email: str) -> tuple[int, float]:
        return site.post("/login/", {**fields, "email": email, "password": "not the one that holds"}, Cookie=crossing)

    def forgot(email: str) -> tuple[int, float]:
        return site.post("/password/forgot/", {**fields, "email": email}, Cookie=crossing)

    def nobody() -> str:
        return f"{uuid.UUID(int=site.lot.getrandbits(128)).hex[:12]}@own.example"

    def absent() -> str:
        return str(uuid7())  # of the shape and age of the others, and nobody's

    def page(pk: Callable[[], str]) -> Ask:
        return lambda: site.get(f"/jobs/{pk()}/", **cookie)

    def row(pk: Callable[[], str]) -> Ask:
        return lambda: site.get(f"/api/v1/jobs/{pk()}", **token)

    theirs, few = partial(next, foreign), min(pairs, PAIRS_OF_LOG_INS)
    ways: dict[str, tuple[Ask, Ask, int]] = {
        "control: nobody's job twice": (page(absent), page(absent), pairs),
        "screen: a neighbour's job, nobody's": (page(theirs), page(absent), pairs),
        "API: a neighbour's job, nobody's": (row(theirs), row(absent), pairs),
        "control: unknown log-in twice": (lambda: log_in(nobody()), lambda: log_in(nobody()), few),
        "log-in: known, unknown": (lambda: log_in(next(known)), lambda: log_in(nobody()), few),
        "new password: known, unknown": (lambda: forgot(next(known)), lambda: forgot(nobody()), few),
    }
    return {
        name: compared(one, other, pairs=count, lot=site.lot, between=_forget)
        for name, (one, other, count) in ways.items()
    }


def _in_turn(values: list[str]) -> Iterator[str]:
    while True:
        yield from values


def _form(site: Site) -> tuple[str, dict[str, str]]:
    """The cookie and the token of a form, as a browser has them."""
    site.line.request("GET", "/login/", headers=HOST)
    answer = site.line.getresponse()
    page = answer.read().decode()
    (cookie,) = re.findall(r"(csrftoken=[^;]+)", answer.getheader("Set-Cookie") or "")
    (token,) = set(re.findall(r'csrfmiddlewaretoken" value="([^"]+)"', page))
    return cookie, {"csrfmiddlewaretoken": token}


def _forget() -> None:
    """Counts of failed tries and of requests, as a quarter of an hour would."""
    from django.core.cache import cache

    cache.clear()


def main() -> None:
    parser = argparse.ArgumentParser(description="Compare the times of answers that must not differ.")
    parser.add_argument("--json", action="store_true", help="print only the JSON line")
    parser.add_argument("--pairs", type=int, default=PAIRS, help=f"pairs of each way ({PAIRS})")
    options = parser.parse_args()
    engines = ThrowAwayEngines.planned()
    try:
        os.environ.update({"DJANGO_SETTINGS_MODULE": "tests.faults.timing_settings", **engines.environment()})
        engines.start()
        found = _on_a_database(max(20, options.pairs))
    finally:
        engines.stop()
    if not options.json:
        for name, facts in found.items():
            print(f"{name:<42}{facts['median_ms']}  first slower {facts['first_slower']:.3f}  p {facts['p']:.4f}")
    print(json.dumps(found))


def _on_a_database(pairs: int) -> dict[str, dict[str, Any]]:
    import django
    from django.test.utils import setup_databases, teardown_databases

    django.setup()
    databases = setup_databases(verbosity=0, interactive=False, serialized_aliases=set())
    try:
        facts = _made()
        with _server() as port:
            return measured(Site(port, **facts), pairs)
    finally:
        teardown_databases(databases, verbosity=0)


def _made() -> dict[str, Any]:
    """Two firms through the services, with passwords as in production."""
    from django.conf import settings

    from tests.api.caller import caller_of
    from tests.cast import client_of, make_cast, open_job

    cast = make_cast()
    jobs = [str(open_job(cast.other, label=f"Site {number:02d}").pk) for number in range(12)]
    open_job(cast.own)
    client = client_of(cast.own.office)
    people = [member.person.email for member in cast.own.members.values()]
    return {
        "cookie": client.cookies[settings.SESSION_COOKIE_NAME].value,
        "token": caller_of(cast.own.office).secret,
        "foreign": jobs,
        "known": people,
    }


@contextmanager
def _server() -> Iterator[int]:
    """Gunicorn as in production, on the throw-away database, with its own hasher of passwords."""
    from django.conf import settings
    from django.db import connection

    port = free_port()
    facts = connection.get_connection_params()
    environment = {
        **os.environ,
        "DATABASE_URL": f"postgresql://resurf_app@/{facts['dbname']}?host={facts['host']}",
        "REDIS_URL": settings.REDIS_URL,
        "BIND": f"127.0.0.1:{port}",
        "WEB_CONCURRENCY": "1",
        "LOG_LEVEL": "ERROR",
        "SITE_URL": "http://127.0.0.1",
    }
    command = [sys.executable, "-m", "gunicorn", "--config", "python:resurf.web_server", "resurf.wsgi"]
    with Path(os.devnull).open("w") as nowhere:
        server = subprocess.Popen(command, cwd=PROJECT, env=environment, stdout=nowhere, stderr=nowhere)
    try:
        _wait(port, server)
        yield port
    finally:
        server.terminate()
        server.wait(20)


def _wait(port: int, server: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + 60
    while time.monotonic() < until and server.poll() is None:
        try:
            line = http.client.HTTPConnection("127.0.0.1", port, timeout=2)
            line.request("GET", "/healthz", headers=HOST)
            if line.getresponse().status == 200:
                return
        except OSError:
            time.sleep(0.2)
    raise SystemExit("The web server did not start.")


if __name__ == "__main__":
    main()
