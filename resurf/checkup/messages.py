"""E-mail: where it goes, and whether the server there takes it."""

from __future__ import annotations

import smtplib

from django.conf import settings
from django.core.mail import get_connection

from resurf.checkup.finding import Finding, bad, good, note


def mail() -> Finding:
    backend = settings.EMAIL_BACKEND.rsplit(".", 2)[-2]
    if backend == "filebased":
        place = getattr(settings, "EMAIL_FILE_PATH", "")
        return note("e-mail", f"Written to files in {place}, sent to nobody; set EMAIL_URL to send.")
    if backend != "smtp":
        return note("e-mail", f"Goes to {backend}, sent to nobody; set EMAIL_URL to send.")
    server = f"{settings.EMAIL_HOST}:{settings.EMAIL_PORT}"
    try:
        connection = get_connection()
        connection.open()
        connection.close()
    except (OSError, smtplib.SMTPException) as error:
        return bad("e-mail", f"{server} does not take e-mail: {error}.")
    if settings.DEFAULT_FROM_EMAIL.endswith("@localhost"):
        return note("e-mail", f"{server} answers, but EMAIL_FROM is not set.")
    return good("e-mail", f"{server} answers; e-mails come from {settings.DEFAULT_FROM_EMAIL}.")
