"""What the operating system knows of a process: its command line, and whether a number still means the same one."""

from __future__ import annotations

import os
import platform
import signal
import subprocess
import time
from dataclasses import dataclass
from pathlib import Path

LINUX = platform.system() == "Linux"


@dataclass(frozen=True)
class Identity:
    """A process number and its time of birth: together they are not used twice."""

    pid: int
    born: str

    @property
    def lives(self) -> bool:
        return identity(self.pid) == self


def identity(pid: int) -> Identity | None:
    """Who has this number now; None if nobody has (a zombie is nobody)."""
    if LINUX:
        try:
            stat = Path(f"/proc/{pid}/stat").read_text()
        except OSError:
            return None
        state, *fields = stat.rpartition(")")[2].split()  # proc(5): the name may hold blanks and brackets
        return None if state in "ZX" else Identity(pid, fields[18])
    born = _ps(pid, "lstart=")
    return Identity(pid, born) if born and not _ps(pid, "state=").startswith("Z") else None


def command_line(pid: int) -> str:
    """The words of the command with blanks between them; empty if there is no such process."""
    if LINUX:
        try:
            return Path(f"/proc/{pid}/cmdline").read_bytes().replace(b"\0", b" ").decode(errors="replace").strip()
        except OSError:
            return ""
    return _ps(pid, "command=")


def stop_group(leader: int, how: signal.Signals, patience_s: float) -> None:
    """Ask a process that is not our child to stop, wait, then kill what is left of its group."""
    who = identity(leader)
    if who is not None:
        os.kill(leader, how)
        until = time.monotonic() + patience_s
        while who.lives and time.monotonic() < until:
            time.sleep(0.05)
    _kill_group(leader)


def _kill_group(leader: int) -> None:
    try:
        os.killpg(leader, signal.SIGKILL)
    except (ProcessLookupError, PermissionError):
        return
    until = time.monotonic() + 5
    while _group_lives(leader) and time.monotonic() < until:
        time.sleep(0.02)


def _group_lives(leader: int) -> bool:
    try:
        os.killpg(leader, 0)
    except (ProcessLookupError, PermissionError):
        return False
    return True


def _ps(pid: int, column: str) -> str:
    done = subprocess.run(["ps", "-o", column, "-p", str(pid)], capture_output=True, text=True, check=False)
    return done.stdout.strip()
