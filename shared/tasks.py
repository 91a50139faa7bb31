"""Tasks that belong to no firm."""

from __future__ import annotations

from shared.queued import queued
from shared.services.password_mails import password_mails_send


@queued(name="shared.password_mails", on_queue="notices", expires=55)
def password_mails_task() -> None:
    password_mails_send()
