"""PostgreSQL and Valkey of one data folder, as children of this process."""

from __future__ import annotations

import os
import signal
import stat
import subprocess
from pathlib import Path

from resurf.embedded import binaries
from resurf.embedded.account import Account
from resurf.embedded.folders import Folders, make_folder
from resurf.embedded.postgres import Cluster
from resurf.embedded.valkey import Valkey

# Last in every stop order: what uses them goes first.
STOP_ORDER = {"valkey": signal.SIGTERM, "postgres": signal.SIGINT}
LOG_SIZE_LIMIT_BYTES = 10_000_000


class FolderRefused(RuntimeError):
    """The data folder, or the private folder beside it, belongs to somebody else."""


class Engines:
    """Started in `start`, stopped in `stop`; `servers` names the children that run."""

    def __init__(self, places: Folders, programs: Account | None = None) -> None:
        self.places = places
        self.programs = programs  # the account of web and workers, where it is another than the caller's
        self.servers: dict[str, subprocess.Popen[bytes]] = {}
        self.cluster: Cluster | None = None
        self.valkey: Valkey | None = None

    def start(self) -> None:
        install = binaries.reachable_postgres(self.places.account, self.places.engines)
        self.cluster = self.places.cluster(install, self.programs)
        self.valkey = self.places.valkey(binaries.valkey_server(), self.programs)
        self.start_valkey()
        self.cluster.make()
        self.start_postgres()
        self.cluster.give_roles()

    def start_postgres(self) -> None:
        assert self.cluster is not None
        self.servers["postgres"] = self.cluster.start()

    def start_valkey(self) -> None:
        assert self.valkey is not None
        self.servers["valkey"] = self.valkey.start()

    def stop(self) -> None:
        if self.valkey and (server := self.servers.pop("valkey", None)):
            self.valkey.stop(server)
        if self.cluster and (server := self.servers.pop("postgres", None)):
            self.cluster.stop(server)


def prepare(places: Folders) -> None:
    """Make the folders, refuse those of others, set overgrown logs aside."""
    for folder in (places.data, places.engines, places.sockets.parent, places.sockets, places.logs):
        make_folder(folder)
        _refuse_others(folder)
    for log in places.logs.glob("*.log"):
        if log.stat().st_size > LOG_SIZE_LIMIT_BYTES:
            os.replace(log, log.with_suffix(".log.1"))


def _refuse_others(folder: Path) -> None:
    """A folder may lie where anybody can make one: it must be a true folder of the caller's own."""
    facts = folder.lstat()
    if not stat.S_ISDIR(facts.st_mode) or facts.st_uid != os.geteuid():
        raise FolderRefused(
            f"{folder} belongs to another account. Run this as that account, or give another folder with --data."
        )
