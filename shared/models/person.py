from __future__ import annotations

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import models

from shared.ids import uuid7


class Person(AbstractBaseUser):
    """A login. May belong to several contractors; the service's role cannot list persons (row policies)."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    email = models.EmailField(unique=True)
    name = models.CharField(max_length=120)
    language = models.CharField(max_length=8, default="en")
    is_active = models.BooleanField(default=True)

    last_login = None  # the time of a login is nobody's business

    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS = ["name"]

    objects = models.Manager()

    def __str__(self) -> str:
        return self.name

    def save(self, *args: object, **kwargs: object) -> None:
        self.email = self.email.strip().lower()
        super().save(*args, **kwargs)  # type: ignore[arg-type]  # as the base takes them
