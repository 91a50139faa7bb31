"""Tasks that belong to no firm."""

from __future__ import annotations

from celery import shared_task

from shared.services.password_mails import password_mails_send


@shared_task(name="shared.password_mails", on_queue="notices", expires=55)  # type: ignore[call-overload,untyped-decorator]
def password_mails_task() -> None:
    password_mails_send()
