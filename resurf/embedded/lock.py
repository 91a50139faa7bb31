"""One process at a time on one data folder."""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


class FolderInUse(RuntimeError):
    """Another process holds the data folder."""


@contextmanager
def hold(data: Path) -> Iterator[None]:
    """Hold the data folder; the kernel lets go when this process ends, however it ends."""
    place = data / "lock"
    with place.open("a+") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            file.seek(0)
            raise FolderInUse(
                f"{data} is in use by process {file.read().strip() or 'unknown'}. Stop that one first "
                "(Ctrl-C where it runs), or give another folder with --data."
            ) from None
        file.truncate(0)
        file.write(f"{os.getpid()}\n")
        file.flush()
        try:
            yield
        finally:
            file.truncate(0)


def is_held(data: Path) -> bool:
    """Whether some process holds the data folder at this moment."""
    place = data / "lock"
    if not place.exists():
        return False
    with place.open("r") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except BlockingIOError:
            return True
    return False
