"""Log-ins in the log: what happened, by the person's id; never an address, a name or a password."""

from __future__ import annotations

from typing import Any

import structlog
from django.contrib.auth.signals import user_logged_in, user_logged_out, user_login_failed
from django.dispatch import receiver
from django.http import HttpRequest

from shared.models import Person

log = structlog.stdlib.get_logger("resurf.security")


@receiver(user_logged_in)
def _in(request: HttpRequest, user: Person, **_: Any) -> None:
    log.info("logged_in", person=str(user.pk))


@receiver(user_logged_out)
def _out(request: HttpRequest, user: Person | None, **_: Any) -> None:
    if user is not None:
        log.info("logged_out", person=str(user.pk))


@receiver(user_login_failed)
def _failed(**_: Any) -> None:
    log.warning("login_failed", factor="password")


def code_failed(person: Person) -> None:
    log.warning("login_failed", factor="code", person=str(person.pk))


def session_over(person: Person, why: str) -> None:
    log.info("session_over", person=str(person.pk), why=why)


def second_factor_ended(person: Person, by: str) -> None:
    log.warning("second_factor_ended", person=str(person.pk), by=by)


def token_refused() -> None:
    log.warning("token_refused")
