"""The account that PostgreSQL runs under: the caller's own, or `nobody` when the caller is root."""

from __future__ import annotations

import os
import pwd
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import Any


@dataclass(frozen=True)
class Account:
    """An account of this machine; PostgreSQL refuses to run as root, so root hands it to another."""

    name: str
    uid: int
    gid: int

    @property
    def is_caller(self) -> bool:
        return self.uid == os.geteuid()

    def spawn_arguments(self) -> dict[str, Any]:
        """What `subprocess` needs so that the child runs under this account."""
        if self.is_caller:
            return {}
        return {"user": self.uid, "group": self.gid, "extra_groups": []}

    def own(self, folder: Path) -> None:
        """Make the folder if need be; this account alone may enter it."""
        folder.mkdir(parents=True, exist_ok=True)
        if not self.is_caller:
            os.chown(folder, self.uid, self.gid)
        folder.chmod(0o700)

    def reaches(self, folder: Path) -> bool:
        """Whether every folder on the way down to this one may be crossed by this account."""
        if self.is_caller:
            return True
        way = [folder, *folder.parents]
        return all(path.stat().st_mode & stat.S_IXOTH for path in way if path.exists())


def engine_account() -> Account:
    if os.geteuid() != 0:
        entry_uid = os.geteuid()
        return Account(_name(entry_uid), entry_uid, os.getegid())
    nobody = pwd.getpwnam("nobody")
    return Account(nobody.pw_name, nobody.pw_uid, nobody.pw_gid)


def _name(uid: int) -> str:
    try:
        return pwd.getpwuid(uid).pw_name
    except KeyError:
        return str(uid)
