"""Child processes that end with us: in their own process group, told to stop when this process dies."""

from __future__ import annotations

import contextlib
import ctypes
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from resurf.embedded.account import Account

PR_SET_PDEATHSIG = 1  # <linux/prctl.h>
_LIBC = ctypes.CDLL(None, use_errno=True) if sys.platform == "linux" else None


def spawn(
    command: Sequence[str | Path],
    *,
    log: Path,
    signal_on_death: signal.Signals = signal.SIGTERM,
    account: Account | None = None,
    environment: Mapping[str, str] | None = None,
    folder: Path | None = None,
) -> subprocess.Popen[bytes]:
    """Start a child in its own process group, its output appended to `log`; call from the main thread."""
    arguments: dict[str, Any] = account.spawn_arguments() if account else {}
    with log.open("ab") as output:
        return subprocess.Popen(
            [str(word) for word in command],
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=subprocess.STDOUT,
            env=plain_environment() if environment is None else dict(environment),
            cwd=folder,
            process_group=0,
            preexec_fn=_die_with_parent(signal_on_death),
            **arguments,
        )


def plain_environment() -> dict[str, str]:
    """This process's environment without PG*, which would redirect every PostgreSQL program."""
    return {name: value for name, value in os.environ.items() if not name.startswith("PG")}


def stop(child: subprocess.Popen[bytes], how: signal.Signals, patience_s: float) -> bool:
    """Ask the child to stop, wait, then kill its whole process group; True if it stopped when asked."""
    asked = _signalled(child, how) and _ended(child, patience_s)
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(child.pid, signal.SIGKILL)  # Also whatever the child itself left behind.
    child.wait()
    return asked


def _signalled(child: subprocess.Popen[bytes], how: signal.Signals) -> bool:
    if child.poll() is None:
        child.send_signal(how)
    return True


def _ended(child: subprocess.Popen[bytes], patience_s: float) -> bool:
    try:
        child.wait(timeout=patience_s)
    except subprocess.TimeoutExpired:
        return False
    return True


def wait_until(
    ready: Callable[[], bool], child: subprocess.Popen[bytes], patience_s: float, pause_s: float = 0.02
) -> bool:
    """Whether `ready` came true before the child ended or the patience did."""
    until = time.monotonic() + patience_s
    while time.monotonic() < until:
        if ready():
            return True
        if child.poll() is not None:
            return False
        time.sleep(pause_s)
    return False


def _die_with_parent(how: signal.Signals) -> Callable[[], None] | None:
    """Linux tells the child when its parent dies; elsewhere the next start stops what was left behind."""
    if _LIBC is None:
        return None
    parent = os.getpid()

    def ask_the_kernel() -> None:
        _LIBC.prctl(PR_SET_PDEATHSIG, how, 0, 0, 0)
        if os.getppid() != parent:
            os._exit(1)

    return ask_the_kernel
