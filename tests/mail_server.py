"""A real SMTP server on the loopback address that can delay, refuse, and go away in the middle of a message."""

from __future__ import annotations

import asyncio
import email
import email.policy
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email.message import EmailMessage
from typing import Any, Final

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP


@dataclass
class Letter:
    """One accepted message."""

    to: str
    content: bytes
    at: float

    @property
    def message(self) -> EmailMessage:
        found = email.message_from_bytes(self.content, policy=email.policy.default)
        assert isinstance(found, EmailMessage)
        return found

    @property
    def number(self) -> str:
        return str(self.message["Message-ID"]).strip()


@dataclass
class MailServer:
    """What it accepted, and how it behaves.

    rcpt, data : replies that are given instead of 250, by address or for all ("*")
    delay_s : how long it thinks after it has accepted a message
    accepted : called with each letter after it was accepted and before the answer is sent
    abort : accept, then close the connection without an answer
    """

    letters: list[Letter] = field(default_factory=list)
    rcpt: dict[str, str] = field(default_factory=dict)
    data: dict[str, str] = field(default_factory=dict)
    delay_s: float = 0.0
    abort: bool = False
    accepted: Callable[[Letter], None] | None = None
    connections: int = 0
    port: int = 0

    async def handle_EHLO(self, server: SMTP, session: Any, envelope: Any, hostname: str, responses: list[str]) -> Any:
        self.connections += 1
        session.host_name = hostname
        return responses

    async def handle_RCPT(self, server: SMTP, session: Any, envelope: Any, address: str, options: list[str]) -> str:
        refusal = self.rcpt.get(address) or self.rcpt.get("*")
        if refusal:
            return refusal
        envelope.rcpt_tos.append(address)
        return "250 2.1.5 OK"

    async def handle_DATA(self, server: SMTP, session: Any, envelope: Any) -> str:
        to = envelope.rcpt_tos[0]
        refusal = self.data.get(to) or self.data.get("*")
        if refusal:
            return refusal
        letter = Letter(to, envelope.content, time.time())
        self.letters.append(letter)
        if self.accepted is not None:
            self.accepted(letter)
        if self.abort:
            server.transport.abort()
        if self.delay_s:
            await asyncio.sleep(self.delay_s)
        return f"250 2.0.0 kept as {len(self.letters)}"

    @property
    def url(self) -> str:
        return f"smtp://127.0.0.1:{self.port}"


@contextmanager
def mail_server(**behaviour: Any) -> Iterator[MailServer]:
    """Runs in a thread of its own until left."""
    server = MailServer(**behaviour)
    controller = Controller(server, hostname="127.0.0.1", port=free_port(), ready_timeout=20)
    controller.start()
    server.port = controller.port
    try:
        yield server
    finally:
        controller.stop(no_assert=True)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


GREETING: Final = b"220 ready\r\n"
REPLIES: Final = {b"EHLO": b"250 ok\r\n", b"MAIL": b"250 ok\r\n", b"RCPT": b"250 ok\r\n", b"DATA": b"354 go on\r\n"}


@contextmanager
def server_that_drops_mid_data(after_bytes: int = 200) -> Iterator[int]:
    """Speaks as far as DATA, reads some of the message, then closes; yields its port."""
    listener = socket.socket()
    listener.bind(("127.0.0.1", 0))
    listener.listen(5)
    listener.settimeout(0.2)
    over = threading.Event()

    def serve() -> None:
        while not over.is_set():
            try:
                connection, _address = listener.accept()
            except TimeoutError:
                continue
            with connection:
                _speak(connection, after_bytes)

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    try:
        yield int(listener.getsockname()[1])
    finally:
        over.set()
        thread.join(5)
        listener.close()


def _speak(connection: socket.socket, after_bytes: int) -> None:
    connection.settimeout(5)
    connection.sendall(GREETING)
    lines = connection.makefile("rb")
    while line := lines.readline():
        reply = REPLIES.get(line[:4].upper(), b"250 ok\r\n")
        connection.sendall(reply)
        if reply.startswith(b"354"):
            lines.read(after_bytes)
            return
