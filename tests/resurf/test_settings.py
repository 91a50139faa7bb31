"""Production settings: what strangers can reach is encrypted, and secrets come from the environment."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from typing import Any

import pytest

from tests.resurf.installation import PROJECT

PRODUCTION = {
    "DATABASE_URL": "postgresql://resurf_app:pw@db.example/resurf",
    "REDIS_URL": "redis://broker.example:6379",
    "SECRET_KEY": "0123456789abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ",
    "ALLOWED_HOSTS": "plans.example, www.plans.example",
    "SITE_URL": "https://plans.example/",
    "EMAIL_URL": "smtp://mail.example?tls=1",
    "BEHIND_PROXY": "1",
}
NAMES = [
    "SESSION_COOKIE_SECURE",
    "CSRF_COOKIE_SECURE",
    "SECURE_SSL_REDIRECT",
    "SECURE_HSTS_SECONDS",
    "DEBUG",
    "ALLOWED_HOSTS",
    "CSRF_TRUSTED_ORIGINS",
    "PASSWORD_HASHERS",
    "SECURE_PROXY_SSL_HEADER",
    "TIME_ZONE",
    "USE_TZ",
    "SESSION_ENGINE",
]


def python(code: str, environment: dict[str, str]) -> subprocess.CompletedProcess[str]:
    path = {"PATH": os.environ["PATH"], "DJANGO_SETTINGS_MODULE": "resurf.settings"}
    return subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        env={**path, **environment},
        cwd=PROJECT,
        check=False,
        timeout=120,
    )


@pytest.fixture(scope="module")
def production() -> dict[str, Any]:
    code = (
        f"import json; from django.conf import settings as s; print(json.dumps({{n: getattr(s, n) for n in {NAMES}}}))"
    )
    done = python(code, PRODUCTION)
    assert done.returncode == 0, done.stderr
    values: dict[str, Any] = json.loads(done.stdout)
    return values


def test_cookies_and_pages_are_sent_encrypted_only(production: dict[str, Any]) -> None:
    assert production["SESSION_COOKIE_SECURE"] is True
    assert production["CSRF_COOKIE_SECURE"] is True
    assert production["SECURE_SSL_REDIRECT"] is True
    assert production["SECURE_HSTS_SECONDS"] == 365 * 24 * 3600
    assert production["SECURE_PROXY_SSL_HEADER"] == ["HTTP_X_FORWARDED_PROTO", "https"]
    assert production["DEBUG"] is False


def test_hosts_come_from_the_environment(production: dict[str, Any]) -> None:
    assert production["ALLOWED_HOSTS"] == ["plans.example", "www.plans.example"]
    assert production["CSRF_TRUSTED_ORIGINS"] == ["https://plans.example"]


def test_passwords_are_kept_as_argon2(production: dict[str, Any]) -> None:
    assert production["PASSWORD_HASHERS"][0].endswith("Argon2PasswordHasher")


def test_time_is_utc_and_sessions_are_in_the_database(production: dict[str, Any]) -> None:
    assert (production["TIME_ZONE"], production["USE_TZ"]) == ("UTC", True)
    assert production["SESSION_ENGINE"] == "shared.sessions"  # rows, under the hash of their key


def test_production_without_a_secret_key_does_not_start() -> None:
    without = {name: value for name, value in PRODUCTION.items() if name != "SECRET_KEY"}
    done = python("import django; django.setup(); from django.conf import settings; settings.SECRET_KEY", without)
    assert done.returncode != 0
    assert "SECRET_KEY setting must not be empty" in done.stderr


def test_a_migration_without_the_owner_says_what_is_missing() -> None:
    done = python("import sys; sys.argv = ['manage.py', 'migrate']; exec(open('manage.py').read())", PRODUCTION)
    assert done.returncode != 0
    assert "DATABASE_OWNER_URL is not set: migrations run as the role that owns the schema." in done.stderr


def test_the_deployment_checks_of_django_are_content() -> None:
    done = python(
        "import sys; sys.argv = ['manage.py', 'check', '--deploy', '--fail-level', 'WARNING', '--tag', 'security'];"
        "exec(open('manage.py').read())",
        PRODUCTION,
    )
    assert done.returncode == 0, done.stderr
