"""A mail server on the loopback address that keeps the Message-ID of every letter that it accepted."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes
from typing import Any

from aiosmtpd.controller import Controller

from tests.resurf.installation import free_port


@dataclass
class Mailbox:
    """(receiver, Message-ID) of each accepted letter, in order."""

    url: str = ""
    letters: list[tuple[str, str]] = field(default_factory=list)

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        number = str(message_from_bytes(envelope.content)["Message-ID"])
        self.letters += [(receiver, number) for receiver in envelope.rcpt_tos]
        return "250 kept"


@contextmanager
def mailbox() -> Iterator[Mailbox]:
    logging.getLogger("mail.log").setLevel(logging.WARNING)  # every line of every letter otherwise
    post = Mailbox()
    server = Controller(post, hostname="127.0.0.1", port=free_port())
    server.start()
    post.url = f"smtp://127.0.0.1:{server.port}"
    try:
        yield post
    finally:
        server.stop()
