"""One Valkey server of our own, on a unix socket: broker and cache."""

from __future__ import annotations

import signal
import socket
import subprocess
from dataclasses import dataclass
from pathlib import Path

from resurf.embedded import children
from resurf.embedded.account import Account
from resurf.embedded.postgres import log_end

START_PATIENCE_S = 30.0
STOP_PATIENCE_S = 10.0
DATABASES = 64  # Each parallel test process takes two of its own.


class ValkeyFailed(RuntimeError):
    """Valkey could not be started; the message carries the end of its log."""


@dataclass(frozen=True)
class Valkey:
    """A server's places; `data` keeps the append-only file, `sockets` the socket."""

    program: Path
    data: Path
    sockets: Path
    log: Path
    throw_away: bool = False
    account: Account | None = None  # None: the caller's own

    @property
    def socket(self) -> Path:
        return self.sockets / "valkey.sock"

    @property
    def url(self) -> str:
        return f"unix://{self.socket}"

    def start(self) -> subprocess.Popen[bytes]:
        """Start the server and wait until it has read its data back."""
        self.data.mkdir(parents=True, exist_ok=True)
        self.sockets.mkdir(parents=True, exist_ok=True)
        if self.account is not None:
            self.account.own(self.data)
            self.account.own(self.sockets)
        server = children.spawn(
            [self.program, *self._options()],
            log=self.log,
            folder=self.data,
            signal_on_death=signal.SIGTERM,
            account=self.account,
        )
        if not children.wait_until(lambda: answers(self.socket), server, START_PATIENCE_S):
            children.stop(server, signal.SIGKILL, 5)
            raise ValkeyFailed(f"Valkey did not start:\n{log_end(self.log)}")
        return server

    def stop(self, server: subprocess.Popen[bytes]) -> bool:
        return children.stop(server, signal.SIGTERM, STOP_PATIENCE_S)

    def _options(self) -> list[str]:
        kept = ["--appendonly", "no" if self.throw_away else "yes", "--appendfsync", "everysec"]
        place = ["--port", "0", "--unixsocket", str(self.socket), "--unixsocketperm", "700"]
        rules = ["--save", "", "--maxmemory-policy", "noeviction", "--databases", str(DATABASES)]
        return [*place, *kept, *rules]


def answers(path: Path, patience_s: float = 1.0) -> bool:
    """One PING on the socket: a client library would retry for seconds on a dead one."""
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as connection:
            connection.settimeout(patience_s)
            connection.connect(str(path))
            connection.sendall(b"PING\r\n")
            return connection.recv(16).startswith(b"+PONG")
    except OSError:
        return False
