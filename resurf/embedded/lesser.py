"""When root starts the service: web, workers, beat and Valkey run under an account that may do nothing else.

PostgreSQL has an account of its own already (`account.py`); this is a third one, so that whoever breaks into the web
process neither is root nor reads the files of the database. By the sockets' peer it is resurf_app and nobody else.
Where that account cannot run the project (its Python lies in root's private home), everything stays as it was, and
the reason is said.
"""

from __future__ import annotations

import os
import pwd
import stat
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from resurf.embedded.account import Account, engine_account
from resurf.embedded.binaries import valkey_server

NAMES: Final = ("daemon", "www-data", "bin")  # Debian, Fedora, Alpine, macOS: one of them is there
OWNED: Final = ("files", "mail", "work", "valkey")  # folders below the data folder in which they write
PROJECT: Final = Path(__file__).resolve().parents[2]
PATIENCE_S: Final = 60.0
TRIED: Final = (
    "import sys, os, celery, django, gunicorn, numpy, psycopg\n"
    "import jobs, scheduling, shared, resurf.embedded.folders\n"
    "unread = [p for p in sys.argv[1:] if not os.access(p, os.R_OK | os.X_OK)]\n"
    "sys.exit(' '.join(unread) or 0)"
)


@dataclass(frozen=True)
class Lesser:
    """Who runs the programs; `why` says why root does, where it does."""

    account: Account
    why: str = ""

    @property
    def is_another(self) -> bool:
        return not self.account.is_caller


def lesser_account(data: Path) -> Lesser:
    """The account for web, workers and beat on this data folder; the caller's own where there is no better one."""
    caller = Account(pwd.getpwuid(0).pw_name if os.geteuid() == 0 else "", os.geteuid(), os.getegid())
    if os.geteuid() != 0:
        return Lesser(caller)
    found = _entry()
    if found is None:
        return Lesser(caller, f"this machine has none of the accounts {', '.join(NAMES)}")
    if not found.reaches(data):
        return Lesser(caller, f"{found.name} cannot enter {data}: choose a folder outside of root's home with --data")
    unable = _unable(found)
    return Lesser(caller, unable) if unable else Lesser(found)


def _entry() -> Account | None:
    taken = {0, engine_account().uid}
    for name in NAMES:
        try:
            entry = pwd.getpwnam(name)
        except KeyError:
            continue
        if entry.pw_uid not in taken:
            return Account(entry.pw_name, entry.pw_uid, entry.pw_gid)
    return None


def _unable(account: Account) -> str:
    """Why this account cannot run the project; empty if it can. Tried, not guessed."""
    try:
        done = subprocess.run(
            [sys.executable, "-c", TRIED, str(PROJECT), str(PROJECT / "resurf" / "static"), str(valkey_server())],
            cwd=PROJECT, env={**os.environ, "HOME": "/"}, capture_output=True, text=True, timeout=PATIENCE_S,
            check=False, **account.spawn_arguments(),
        )  # fmt: skip
    except (OSError, subprocess.SubprocessError) as problem:
        what = getattr(problem, "filename", None) or sys.executable
        return f"{account.name} cannot run {what} ({type(problem).__name__}): root's home is private"
    if done.returncode == 0:
        return ""
    last = (done.stderr.strip().splitlines() or ["?"])[-1]
    return f"{account.name} cannot read what the service needs: {last[:160]}"


def own_work(account: Account, data: Path) -> None:
    """Make the folders in which the programs write theirs, and the signing key readable for them."""
    for name in OWNED:
        folder = data / name
        folder.mkdir(mode=0o700, exist_ok=True)
        if os.geteuid() == 0:
            hand_over(folder, account)
    key = data / "secret_key"
    if os.geteuid() == 0 and key.exists():
        mode = 0o600 if account.is_caller else 0o640
        os.chown(key, os.geteuid(), account.gid)
        key.chmod(mode)


def hand_over(top: Path, account: Account) -> None:
    """Give a folder with all in it to the account; links are given themselves, never followed."""
    for _folder, folders, files, at in os.fwalk(top, follow_symlinks=False):
        for name in (*folders, *files):
            facts = os.stat(name, dir_fd=at, follow_symlinks=False)
            if facts.st_uid != account.uid and not (stat.S_ISREG(facts.st_mode) and facts.st_nlink > 1):
                os.chown(name, account.uid, account.gid, dir_fd=at, follow_symlinks=False)
    os.chown(top, account.uid, account.gid, follow_symlinks=False)


def give_back(data: Path) -> None:
    """After a command of root's on a running installation: what it wrote belongs to who owns the folder."""
    if os.geteuid() != 0:
        return
    for name in OWNED:
        folder = data / name
        if folder.is_dir() and (facts := folder.lstat()).st_uid != 0:
            hand_over(folder, Account("", facts.st_uid, facts.st_gid))


def environment(account: Account, data: Path, sockets: Path) -> dict[str, str]:
    """What differs for programs under another account: no home of root's, and where root put the sockets."""
    if account.is_caller:
        return {}
    work = str(data / "work")
    given: dict[str, Any] = {"HOME": work, "NUMBA_CACHE_DIR": work, "XDG_CACHE_HOME": work, "RESURF_RUN": str(sockets)}
    return {**given, "PYTHONDONTWRITEBYTECODE": "1"}
