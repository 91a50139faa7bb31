"""The line between a phone and the service, on loopback, that can be cut where a test wants it cut."""

from __future__ import annotations

import select
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Final

OPEN: Final = "open"
DEAD: Final = "dead"
"""No signal: whatever is sent, before it leaves the phone."""
DEAF: Final = "deaf"
"""What is sent with POST arrives and is worked on; its answer is lost on the way back."""
SILENT: Final = "silent"
"""One bar: the connection stands and nothing comes."""
DOWN: Final = "down"
"""The service is being restarted: something before it answers 503."""
MODES: Final = (OPEN, DEAD, DEAF, SILENT, DOWN)
BUSY: Final = b"HTTP/1.1 503 Service Unavailable\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"
PIECE: Final = 65_536
WAIT_S: Final = 0.2


class WeakLink:
    """A TCP relay to one address; `mode` takes effect at once, also for connections that stand."""

    def __init__(self, host: str, port: int) -> None:
        self.target = (host, port)
        self.mode = OPEN
        self._closing = threading.Event()
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._listener.settimeout(WAIT_S)
        self.port: int = self._listener.getsockname()[1]
        self._threads = [threading.Thread(target=self._accept, daemon=True)]
        self._threads[0].start()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @contextmanager
    def broken(self, mode: str) -> Iterator[None]:
        """Everything inside happens over a line in this state."""
        self.mode = mode
        try:
            yield
        finally:
            self.mode = OPEN

    def close(self) -> None:
        self._closing.set()
        self._listener.close()
        for thread in self._threads:
            thread.join(5)

    def _accept(self) -> None:
        while not self._closing.is_set():
            with suppress(TimeoutError, OSError):
                phone, _ = self._listener.accept()
                thread = threading.Thread(target=self._relay, args=(phone,), daemon=True)
                self._threads = [one for one in self._threads if one.is_alive()] + [thread]
                thread.start()

    def _relay(self, phone: socket.socket) -> None:
        with phone, suppress(OSError):
            if self.mode == DEAD:
                return
            with socket.create_connection(self.target, timeout=10) as service:
                self._carry(phone, service)

    def _carry(self, phone: socket.socket, service: socket.socket) -> None:
        posted = False
        while not self._closing.is_set() and self.mode != DEAD:
            readable, _, _ = select.select([phone, service], [], [], WAIT_S)
            for source in readable:
                if self.mode == SILENT:
                    self._closing.wait(WAIT_S)
                    continue
                piece = source.recv(PIECE)
                if self.mode == DOWN and source is phone and piece:
                    phone.sendall(BUSY)
                    return
                if source is phone:
                    posted = piece.startswith(b"POST ") or (posted and b" HTTP/1.1" not in piece)
                if not piece or self.mode == DEAD or (source is service and posted and self.mode == DEAF):
                    return
                (service if source is phone else phone).sendall(piece)
