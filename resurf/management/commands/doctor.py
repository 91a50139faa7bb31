"""`manage.py doctor`: looks at the installation and says in one line each what it found."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from typing import Any

from django.conf import settings
from django.core.management import BaseCommand, CommandParser
from django.db import DatabaseError

from resurf import heartbeat
from resurf.checkup import database, machine, messages, production, queue, weather
from resurf.checkup.finding import Finding, State, bad, note
from resurf.embedded import lock
from resurf.embedded.borrow import bring_up_to_date, own_engines


class Command(BaseCommand):
    help = "Look at the installation; one line for each part, exit code 1 if something is wrong."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--data", default=None, help="data folder (.resurf in the project)")

    def handle(self, **options: Any) -> None:
        worst = State.GOOD
        for finding in findings():
            self.stdout.write(str(finding))
            self.stdout.flush()
            worst = State.BAD if finding.state is State.BAD else worst
        if worst is State.BAD:
            sys.exit(1)


def findings() -> Iterator[Finding]:
    yield machine.python()
    yield from machine.wheels(settings.EMBEDDED)
    if settings.EMBEDDED:
        yield machine.account(settings.DATA_DIR)
    yield machine.disk(settings.DATA_DIR)
    with engines() as said:
        yield from said
        yield from database.database()
        yield from queue.queue(running_is_expected=not said)
        yield weather.feeds()
    yield weather.files()
    yield messages.mail()
    if not settings.EMBEDDED:
        yield from production.deployment()


@contextmanager
def engines() -> Iterator[list[Finding]]:
    """The engines of the embedded installation, started for the checks alone if the demonstration is not running."""
    if not settings.EMBEDDED or lock.is_held(settings.DATA_DIR):
        yield []
        return
    with ExitStack() as started:
        try:
            started.enter_context(own_engines(settings.DATA_DIR))
            bring_up_to_date()
            heartbeat.forget()
            said = note("engines", "The demonstration does not run: database and broker start for these checks alone.")
        except (RuntimeError, DatabaseError, OSError) as error:
            said = bad("engines", f"Database and broker do not start: {error}")
        yield [said]
