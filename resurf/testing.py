"""A pytest plugin (`-p resurf.testing`): tests run on a throw-away PostgreSQL and Valkey of their own.

Addresses are fixed before Django reads its settings; the servers start when the first test needs them, or at
once for parallel runs, whose processes all use the one pair of servers with a database each.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from django.core.cache import caches

from resurf.embedded import binaries
from resurf.embedded.account import engine_account
from resurf.embedded.postgres import Cluster
from resurf.embedded.processes import identity
from resurf.embedded.valkey import Valkey
from resurf.postgresql import roles

PREFIX = "resurf-tests-"


@dataclass
class ThrowAwayEngines:
    """One pair of servers in a temporary folder, gone when the tests are."""

    folder: Path
    cluster: Cluster
    valkey: Valkey
    servers: list[subprocess.Popen[bytes]] = field(default_factory=list)

    @classmethod
    def planned(cls) -> ThrowAwayEngines:
        sweep()
        folder = Path(tempfile.mkdtemp(prefix=f"{PREFIX}{os.getpid()}-"))
        folder.chmod(0o711)
        account = engine_account()
        cluster = Cluster(
            install=binaries.reachable_postgres(account, folder),
            data=folder / "postgres",
            sockets=folder / "run",
            log=folder / "postgres.log",
            account=account,
            throw_away=True,
        )
        valkey = Valkey(
            program=binaries.valkey_server(),
            data=folder / "valkey",
            sockets=folder,
            log=folder / "valkey.log",
            throw_away=True,
        )
        return cls(folder, cluster, valkey)

    def environment(self) -> dict[str, str]:
        return {
            "RESURF_TESTING": "1",
            "DATABASE_URL": self.cluster.url(roles.APP),
            "DATABASE_OWNER_URL": self.cluster.url(roles.OWNER),
            "REDIS_URL": self.valkey.url,
            "SECRET_KEY": "only for tests",
            "ALLOWED_HOSTS": "testserver,127.0.0.1,localhost",
            "RESURF_DATA": str(self.folder / "data"),
            "DJANGO_ALLOW_ASYNC_UNSAFE": "1",  # The browser driver runs an event loop of its own.
        }

    def start(self) -> None:
        if self.servers:
            return
        self.servers.append(self.valkey.start())
        self.cluster.make()
        self.servers.append(self.cluster.start())
        self.cluster.give_roles()

    def stop(self) -> None:
        for server, stop in zip(self.servers, (self.valkey.stop, self.cluster.stop), strict=False):
            stop(server)
        shutil.rmtree(self.folder, ignore_errors=True)


def sweep() -> None:
    """Remove the folders of earlier runs that were killed."""
    for folder in Path(tempfile.gettempdir()).glob(f"{PREFIX}*-*"):
        number = folder.name.removeprefix(PREFIX).split("-")[0]
        if folder.lstat().st_uid == os.geteuid() and number.isdigit() and identity(int(number)) is None:
            shutil.rmtree(folder, ignore_errors=True)


ENGINES = pytest.StashKey[ThrowAwayEngines]()


@pytest.hookimpl(tryfirst=True)
def pytest_load_initial_conftests(early_config: pytest.Config) -> None:
    if os.environ.get("RESURF_TESTING") == "1":
        return  # A process of a parallel run: the addresses came with the environment.
    engines = ThrowAwayEngines.planned()
    early_config.stash[ENGINES] = engines
    os.environ.update(engines.environment())
    if getattr(early_config.known_args_namespace, "numprocesses", None):
        engines.start()


@pytest.hookimpl(tryfirst=True)
def pytest_fixture_setup(fixturedef: pytest.FixtureDef[Any], request: pytest.FixtureRequest) -> None:
    engines = request.config.stash.get(ENGINES, None)
    if engines and fixturedef.argname in {"django_db_setup", "engines"}:
        engines.start()


@pytest.fixture(scope="session")
def engines() -> None:
    """Both servers run: for tests that use the cache or the broker without the database."""


@pytest.fixture(autouse=True)
def _empty_cache(request: pytest.FixtureRequest) -> Iterator[None]:
    """A test leaves nothing in the cache for the next."""
    yield
    if {"engines", "_django_db_helper"} & set(request.fixturenames):
        caches["default"].clear()


@pytest.hookimpl(trylast=True)
def pytest_unconfigure(config: pytest.Config) -> None:
    reporter = config.pluginmanager.get_plugin("terminalreporter")
    if reporter and not hasattr(config, "workerinput") and not config.option.collectonly:
        reporter.write_line(last_line(config.stash.get(LEFT_OUT, 0)))
    if engines := config.stash.get(ENGINES, None):
        engines.stop()


# Tests that need more than Python are left out by default; the last line of the output says so.

OUTSIDE_MARKS = ("browser", "system")
LEFT_OUT = pytest.StashKey[int]()


def pytest_deselected(items: Sequence[pytest.Item]) -> None:
    for item in items:
        if any(item.get_closest_marker(mark) for mark in OUTSIDE_MARKS):
            item.config.stash[LEFT_OUT] = item.config.stash.get(LEFT_OUT, 0) + 1


def pytest_sessionfinish(session: pytest.Session) -> None:
    output: dict[str, Any] | None = getattr(session.config, "workeroutput", None)
    if output is not None:  # This is one process of a parallel run: the first one prints.
        output["left_out"] = session.config.stash.get(LEFT_OUT, 0)


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    left_out = getattr(node, "workeroutput", {}).get("left_out", 0)
    node.config.stash[LEFT_OUT] = max(left_out, node.config.stash.get(LEFT_OUT, 0))


def last_line(left_out: int) -> str:
    if left_out == 0:
        return "No test was left out."
    tests = "1 test was" if left_out == 1 else f"{left_out} tests were"
    return f"{tests} left out (browser or system); to run: python3 -m uv run pytest -m 'browser or system'"
