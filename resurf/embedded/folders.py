"""Where an embedded installation keeps what: all in one data folder, sockets where their path is short."""

from __future__ import annotations

import hashlib
import os
import re
import tempfile
from dataclasses import dataclass
from pathlib import Path

from resurf.embedded.account import Account, engine_account
from resurf.embedded.postgres import Cluster, fits_a_socket
from resurf.embedded.valkey import Valkey

RUN = "RESURF_RUN"  # set for programs under another account, whose folders would be reckoned otherwise
PLAIN_PATH = re.compile(r"[A-Za-z0-9/._-]+")  # The same in a URL, a shell and a configuration file.


@dataclass(frozen=True)
class Folders:
    """The places of one embedded installation; a pure function of the data folder and of who runs it."""

    data: Path
    engines: Path
    sockets: Path
    account: Account

    @property
    def logs(self) -> Path:
        return self.data / "logs"

    @property
    def database_is_elsewhere(self) -> bool:
        return self.engines != self.data

    def cluster(self, install: Path, guests: Account | None = None) -> Cluster:
        return Cluster(
            install=install,
            data=self.engines / "postgres",
            sockets=self.sockets / "postgres",
            log=self.logs / "postgres.log",
            account=self.account,
            guests=guests,
        )

    def valkey(self, program: Path, account: Account | None = None) -> Valkey:
        return Valkey(
            program=program,
            data=self.data / "valkey",
            sockets=self.sockets / "valkey",
            log=self.logs / "valkey.log",
            account=account,
        )


def folders(data: Path) -> Folders:
    """Keep all in `data`, unless PostgreSQL cannot reach it or the sockets' path would be too long."""
    data = data.resolve()
    account = engine_account()
    private = Path(tempfile.gettempdir()).resolve() / f"resurf-{_digest(data, account)}"
    engines = data if account.reaches(data) else private
    sockets = engines / "run"
    if not (fits_a_socket(sockets / "postgres") and PLAIN_PATH.fullmatch(str(sockets))):
        sockets = private / "run"
    sockets = Path(os.environ.get(RUN, sockets))
    return Folders(data=data, engines=engines, sockets=sockets, account=account)


def make_folder(folder: Path) -> None:
    """Make it for the caller alone; as root, PostgreSQL's account may cross it but not list it."""
    if not folder.exists():
        folder.mkdir(parents=True)
        folder.chmod(0o700 if engine_account().is_caller else 0o711)


def _digest(data: Path, account: Account) -> str:
    return hashlib.sha256(f"{account.uid}:{data}".encode()).hexdigest()[:12]
