"""Engines for one command: `manage.py plan` works whether or not the demonstration runs."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import django
from django.core.management import call_command

from resurf.embedded import lock, roll
from resurf.embedded.engines import STOP_ORDER, Engines, prepare
from resurf.embedded.folders import folders, make_folder
from resurf.embedded.lesser import give_back

# These bring engines themselves, or need none.
NEED_NO_ENGINES = {
    "check",
    "collectstatic",
    "compilemessages",
    "demo",
    "diffsettings",
    "doctor",
    "help",
    "makemessages",
    "makemigrations",
    "pins",
    "spectacular",
    "version",
}


@contextmanager
def engines_for(arguments: Sequence[str], data: Path) -> Iterator[None]:
    """Run the command's body with engines: those of DATABASE_URL, of a running demonstration, or our own."""
    command = next((word for word in arguments if not word.startswith("-")), "help")
    asks_for_help = {"-h", "--help", "--version"} & set(arguments)
    if "DATABASE_URL" in os.environ or command in NEED_NO_ENGINES or asks_for_help:
        yield
        return
    if lock.is_held(data):
        try:
            yield
        finally:
            give_back(data)
        return
    with own_engines(data):
        if command != "migrate":
            bring_up_to_date()
        yield


@contextmanager
def own_engines(data: Path) -> Iterator[Engines]:
    """Start the engines of a data folder that nobody uses, and stop them afterwards."""
    make_folder(data)
    with lock.hold(data):
        places = folders(data)
        prepare(places)
        roll.stop_left_behind(data / "children.json", STOP_ORDER)
        engines = Engines(places)
        try:
            engines.start()
            yield engines
        finally:
            engines.stop()


def bring_up_to_date() -> None:
    """Run the migrations that are missing."""
    django.setup()
    call_command("migrate", interactive=False, verbosity=0, skip_checks=True)
