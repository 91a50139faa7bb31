"""Login by e-mail. The service's role cannot list persons: one function finds the id of an address."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib.auth.backends import BaseBackend
from django.contrib.auth.hashers import check_password, make_password
from django.db import connection
from django.http import HttpRequest

from shared.models import Person
from shared.tenancy.context import acting_as


def person_id_of(email: str) -> uuid.UUID | None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT resurf_person_by_email(%s)", [email.strip().lower()])
        found: uuid.UUID | None = cursor.fetchone()[0]
    return found


def person_of(email: str) -> Person | None:
    found = person_id_of(email)
    return None if found is None else person_by_id(found)


def person_by_id(person_id: uuid.UUID | str) -> Person | None:
    try:
        key = uuid.UUID(str(person_id))
    except ValueError:
        return None
    with acting_as(key):
        return Person.objects.filter(pk=key).first()


class EmailBackend(BaseBackend):
    def authenticate(self, request: HttpRequest | None, email: str = "", password: str = "", **_: Any) -> Person | None:
        person = person_of(email)
        if person is None:  # as much work as for a known address, so that the clock does not tell which it is
            nobody = uuid.uuid4()
            person_by_id(nobody)
            with acting_as(nobody):
                make_password(password)
            return None
        with acting_as(person.pk):
            right = check_password(password, person.password, setter=lambda raw: _rehash(person, raw))
        return person if right and person.is_active else None

    def get_user(self, user_id: Any) -> Person | None:
        person = person_by_id(user_id)
        return person if person is not None and person.is_active else None


def _rehash(person: Person, raw: str) -> None:
    person.set_password(raw)
    person.save(update_fields=["password"])
