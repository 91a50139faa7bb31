"""`manage.py demo`: the whole service on this machine, with invented firms, until Ctrl-C."""

from __future__ import annotations

import json
import os
import socket
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import BaseCommand, CommandError, CommandParser, call_command
from django.db import connection

from fixtures_demo.welcome import all_built, welcome
from resurf import heartbeat
from resurf.embedded import lock
from resurf.embedded.beside import NotDone, beside
from resurf.embedded.binaries import EngineMissing
from resurf.embedded.engines import FolderRefused
from resurf.embedded.folders import Folders, make_folder
from resurf.embedded.postgres import ClusterFailed
from resurf.embedded.programs import HOST, programs
from resurf.embedded.supervisor import KeepsFalling, StopAsked, Supervisor
from resurf.embedded.valkey import ValkeyFailed

READY_PATIENCE_S = 120.0
SAID = (EngineMissing, FolderRefused, lock.FolderInUse, ClusterFailed, ValkeyFailed, KeepsFalling, NotDone)
OWN_SERVERS = ("DATABASE_URL", "REDIS_URL")


class Command(BaseCommand):
    help = "Run the whole service on this machine with invented firms, until Ctrl-C."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help="port of the web pages on 127.0.0.1 (8000)")
        parser.add_argument("--data", default=None, help="data folder (.resurf in the project)")
        parser.add_argument("--bare", action="store_true", help="without the invented firms")

    def handle(self, *, port: int, bare: bool, **options: Any) -> None:
        begun = time.monotonic()
        for name in OWN_SERVERS:
            if name in os.environ:
                raise CommandError(f"{name} is set, but the demonstration brings its own servers: unset it first.")
        data: Path = settings.DATA_DIR
        with plain_errors():
            make_folder(data)
            with lock.hold(data), Supervisor(data, programs(data, port)) as supervisor:
                refuse_taken_port(port)
                with suppress(StopAsked):
                    self.run(supervisor, port, bare, begun)
                self.say("Stopping ...")
        self.say("Stopped.")

    def run(self, supervisor: Supervisor, port: int, bare: bool, begun: float) -> None:
        self.say(f"Starting; data and logs are in {supervisor.places.data}")
        if supervisor.places.engines != supervisor.places.data:
            self.say(
                f"PostgreSQL runs as {supervisor.places.account.name}, who cannot enter that folder: "
                f"the database is in {supervisor.places.engines}"
            )
        if supervisor.lesser.is_another:
            self.say(f"Started by root: web, workers, beat and Valkey run as {supervisor.lesser.account.name}.")
        elif supervisor.lesser.why:
            self.say(f"Started by root, and web and workers run as root too: {supervisor.lesser.why}.")
        supervisor.start_engines()
        call_command("migrate", interactive=False, verbosity=0, skip_checks=True)
        address = f"http://{HOST}:{port}"
        supervisor.start_program("web")
        heartbeat.forget()
        if bare or all_built():
            supervisor.start_programs()  # they need seconds to begin, and nothing is built that they could disturb
        lines = [] if bare else self.demonstration_firms(supervisor.places)
        connection.close()
        supervisor.start_programs()
        if supervisor.watch(READY_PATIENCE_S, until=lambda: ready(address)):
            seconds = time.monotonic() - begun
            self.say(f"Ready after {seconds:.1f} s: {address}/")
            for line in lines:
                self.say(line)
            self.say("Ctrl-C stops it; the data stay.")
            supervisor.watch()
        elif not supervisor.stop_asked:
            raise CommandError(f"Not ready after {READY_PATIENCE_S:.0f} s: look into {supervisor.places.logs}")

    def demonstration_firms(self, places: Folders) -> list[str]:
        """Build the invented firms that are missing, side by side; what to print about them."""
        if all_built():
            return welcome()
        from fixtures_demo.build import both_register, firm_build, missing  # noqa: PLC0415  reads far more than a start

        self.say("Building the demonstration firms, which takes a minute ...")
        now = datetime.now(UTC)
        both_register()
        first, *others = missing()
        with ExitStack() as work:
            for slug in others:
                command = [sys.executable, "-m", "fixtures_demo.aside", slug, now.isoformat()]
                work.enter_context(beside(command, log=places.logs / f"build-{slug}.log", data=places.data))
            firm_build(first, now)
        return welcome()

    def say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()


def refuse_taken_port(port: int) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except (OSError, OverflowError) as error:
            raise CommandError(
                f"Port {port} on {HOST} cannot be used ({error}). Choose another, such as --port {port + 1}."
            ) from None


def ready(address: str) -> bool:
    try:
        with urllib.request.urlopen(f"{address}/readyz", timeout=2) as answer:
            return bool(json.load(answer)["ready"])
    except (urllib.error.URLError, TimeoutError, ConnectionError, ValueError):
        return False


@contextmanager
def plain_errors() -> Iterator[None]:
    """What can go wrong on a machine is said in one sentence, without a traceback."""
    try:
        yield
    except (
        EngineMissing,
        FolderRefused,
        lock.FolderInUse,
        ClusterFailed,
        ValkeyFailed,
        KeepsFalling,
        NotDone,
    ) as error:
        raise CommandError(str(error)) from error
    except PermissionError as error:
        raise CommandError(f"No permission for {error.filename}: use another folder with --data.") from error
