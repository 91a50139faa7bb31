"""The settings of tests, with passwords hashed and connections kept as in production."""

from resurf.settings import *  # noqa: F403  # a settings module is a bag of names
from resurf.settings import DATABASES

PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
DATABASES["default"] |= {"CONN_MAX_AGE": 60, "CONN_HEALTH_CHECKS": True}
