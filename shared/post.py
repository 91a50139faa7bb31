"""E-mail as it leaves this service: one message at a time, with the mail server's own answer.

Django's connection is opened; over SMTP the dialogue is spoken step by step, since the moment before the message
could be accepted, the code of a refusal and the text of the acceptance all matter.
"""

from __future__ import annotations

import re
import smtplib
from collections.abc import Callable
from types import TracebackType
from typing import Any, Final, Literal, Self

from django.conf import settings
from django.core.mail import EmailMultiAlternatives, get_connection
from django.core.mail.backends.smtp import EmailBackend
from django.core.mail.message import sanitize_address

SURELY: Final = range(500, 600)
TOO_LARGE: Final = 552
ADDRESS_CODES: Final = (550, 551, 553, 556)  # RFC 5321 and 7504: no such mailbox, not local, bad name, no mail here
POLICY: Final = re.compile(r"5\.7\.\d")  # RFC 3463: security or policy, which says nothing about the address
Fault = Literal["later", "address", "message"]


class NotTaken(Exception):
    """The mail server did not take it.

    fault : "later" try again; "address" it will never take this address; "message" never this message
    """

    def __init__(self, fault: Fault, code: int | None, answer: str) -> None:
        super().__init__(answer)
        self.fault, self.code, self.answer = fault, code, answer


class ClaimLost(Exception):
    """Somebody else has the row by now: nothing was sent."""


class Post:
    """An open connection to the mail server: `with Post() as post: post.send(message, hand=...)`.

    Opening is put off until the first message. After a fault of the connection the next message opens a new one.
    """

    def __init__(self) -> None:
        self.connection: Any = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._close()

    def send(self, message: EmailMultiAlternatives, *, hand: Callable[[], bool]) -> tuple[int | None, str]:
        """Send to the one address of the message; returns the code and text of the acceptance.

        Raises
        ------
        NotTaken
            When the server refused or went away.
        ClaimLost
            When *hand*, asked just before the text of the message, said no.
        """
        try:
            backend = self._open()
            if isinstance(backend, EmailBackend) and backend.connection is not None:
                return self._spoken(backend.connection, message, hand)
            if not hand():
                raise ClaimLost
            backend.send_messages([message])
            return None, "kept here; this installation sends e-mail to nobody"
        except smtplib.SMTPResponseException as refused:
            self._close()
            never = isinstance(refused, smtplib.SMTPDataError) and refused.smtp_code in SURELY
            text = f"{refused.smtp_code} {_text(refused.smtp_error)}"
            raise NotTaken("message" if never else "later", refused.smtp_code, text) from refused
        except (smtplib.SMTPException, OSError) as gone:
            self._close()
            raise NotTaken("later", None, str(gone) or type(gone).__name__) from gone

    def _spoken(self, smtp: smtplib.SMTP, message: EmailMultiAlternatives, hand: Callable[[], bool]) -> tuple[int, str]:
        sender = sanitize_address(message.from_email or settings.DEFAULT_FROM_EMAIL, "utf-8")
        to = sanitize_address(message.to[0], "utf-8")
        data = bytes_of(message)
        smtp.ehlo_or_helo_if_needed()
        self._heard(smtp, smtp.mail(sender, [f"size={len(data)}"] if smtp.does_esmtp else []), _fault_of_sender)
        self._heard(smtp, smtp.rcpt(to), fault_of_address)
        if not hand():
            smtp.rset()
            raise ClaimLost
        code, answer = smtp.data(data)
        self._heard(smtp, (code, answer), lambda code, _text: "message" if code in SURELY else "later")
        return code, f"{code} {_text(answer)}"

    def _heard(self, smtp: smtplib.SMTP, said: tuple[int, bytes], fault: Callable[[int, str], Fault]) -> None:
        """Go on after a yes; after a no leave the connection as new, for the next message."""
        code, answer = said
        if 200 <= code < 300:
            return
        text = _text(answer)
        if code == 421:  # the server closes
            self._close()
        else:
            smtp.rset()
        raise NotTaken(fault(code, text), code, f"{code} {text}")

    def _open(self) -> Any:
        if self.connection is None:
            self.connection = get_connection()
            self.connection.open()
        return self.connection

    def _close(self) -> None:
        connection, self.connection = self.connection, None
        if connection is None:
            return
        try:
            connection.close()
        except (smtplib.SMTPException, OSError):
            return


def _fault_of_sender(code: int, text: str) -> Fault:
    """Who may send here is a matter between operator and mail server, and passes; too large stays too large."""
    return "message" if code == TOO_LARGE else "later"


def fault_of_address(code: int, text: str) -> Fault:
    """What a refusal of the receiver's address means."""
    if code not in SURELY:
        return "later"
    return "address" if code in ADDRESS_CODES and not POLICY.search(text) else "message"


def _text(answer: bytes | str) -> str:
    said = answer.decode("utf-8", "replace") if isinstance(answer, bytes) else str(answer)
    return " ".join(said.split())


def bytes_of(message: EmailMultiAlternatives) -> bytes:
    """The message as it would travel."""
    made: Any = message.message()
    return bytes(made.as_bytes(linesep="\r\n"))
