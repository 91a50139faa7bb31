"""Rules of the service that a browser, a program or a guesser meets."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any
from unittest import mock

import pytest
import structlog
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.test import Client
from structlog.testing import capture_logs

from shared import security_log
from tests.api.caller import Caller, caller_of
from tests.cast import PASSWORD, Cast, client_of


@pytest.mark.parametrize("method", ["trace", "TRACK", "CONNECT", "propfind"])
def test_a_method_that_nobody_needs_is_refused(cast: Cast, method: str):
    assert client_of(cast.own.manager).generic(method.upper(), "/").status_code == 405


def test_what_a_member_sees_stays_in_no_cache(cast: Cast):
    client = client_of(cast.own.office)
    for path in ("/", "/weeks/", "/jobs/", "/firm/"):
        assert "no-store" in client.get(path)["Cache-Control"], path
    assert "no-store" in caller_of(cast.own.office).get("/jobs")["Cache-Control"]


def test_the_session_is_a_new_one_after_the_log_in_and_gone_after_the_log_out(cast: Cast):
    client = Client()
    client.get("/login/")
    session = client.session
    session["fixed"] = "by an attacker"
    session.save()
    client.cookies["sessionid"] = session.session_key
    client.post("/login/", {"email": "office@own.example", "password": PASSWORD})
    inside = client.cookies["sessionid"].value
    assert inside != session.session_key
    client.post("/logout/")
    stolen = Client()
    stolen.cookies["sessionid"] = inside
    assert stolen.get("/").status_code == 302


def test_a_post_without_its_token_is_refused(cast: Cast):
    client = Client(enforce_csrf_checks=True)
    client.force_login(cast.own.office.person, backend="shared.backend.EmailBackend")
    assert client.post("/weather/again/").status_code == 403
    assert client.post("/logout/").status_code == 403


def test_every_page_is_fenced_by_its_headers(cast: Cast):
    client = client_of(cast.own.manager)
    nonces = set()
    for path in ("/", "/login/", "/jobs/", "/api/v1/schema", "/nothing-here/"):
        answer = client.get(path)
        policy = answer["Content-Security-Policy"]
        assert "unsafe-inline" not in policy
        assert "unsafe-eval" not in policy
        for part in ("object-src 'none'", "base-uri 'none'", "frame-ancestors 'none'", "form-action 'self'"):
            assert part in policy, path
        nonces.add(policy.split("'nonce-")[1].split("'")[0])
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert answer["Referrer-Policy"] == "same-origin"
        assert "geolocation=()" in answer["Permissions-Policy"]
        assert answer["Cross-Origin-Opener-Policy"] == "same-origin"
    assert len(nonces) == 5, "a nonce is used once"


PRODUCTION = """
import django; django.setup()
from django.conf import settings
from django.test import Client
assert settings.SESSION_COOKIE_NAME.startswith("__Host-") and settings.CSRF_COOKIE_NAME.startswith("__Host-")
assert settings.SESSION_COOKIE_HTTPONLY and settings.SESSION_COOKIE_SECURE and settings.CSRF_COOKIE_SECURE
assert settings.SECURE_HSTS_SECONDS >= 31536000 and settings.SECURE_HSTS_INCLUDE_SUBDOMAINS
assert not settings.DEBUG
plain = Client(SERVER_NAME="plans.example")
assert plain.get("/login/").status_code == 301
answer = plain.get("/api/v1/me", headers={"Authorization": "Bearer rs1_x"})
print(answer.status_code, answer.get("Location", ""))
"""


def test_production_is_encrypted_and_the_api_is_not_redirected():
    """A program that forgot the s of https is told, not quietly helped."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith("RESURF_")}
    environment |= {
        "DJANGO_SETTINGS_MODULE": "resurf.settings",
        "SECRET_KEY": "x" * 60,
        "ALLOWED_HOSTS": "plans.example",
        "SITE_URL": "https://plans.example",
        "DATABASE_URL": "postgresql://resurf_app@127.0.0.1:1/none",
        "EMAIL_URL": "console:",
    }
    done = subprocess.run(
        [sys.executable, "-c", PRODUCTION],
        capture_output=True, text=True, env=environment, cwd=Path(__file__).parents[2], timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    assert done.stdout.split() == ["403"]


@pytest.mark.parametrize(
    "password", ["passwordpassword", "1234567890123", "resurfpoolplaster", "PlasterPool2027!", "office@own.example"]
)
def test_a_password_that_everybody_would_try_is_refused(cast: Cast, password: str):
    with pytest.raises(ValidationError):
        validate_password(password, cast.own.office.person)


def test_a_password_of_ones_own_words_is_taken_whatever_its_letters(cast: Cast):
    for password in (PASSWORD, "läuft über drei brücken", "x9 " * 30, "plaster is what my uncle hated"):
        validate_password(password, cast.own.office.person)


def test_log_ins_are_logged_without_addresses(cast: Cast, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(security_log, "log", structlog.stdlib.get_logger("resurf.security"))  # not used before
    with capture_logs() as lines:
        Client().post("/login/", {"email": "office@own.example", "password": "wrong"})
        client = Client()
        client.post("/login/", {"email": "office@own.example", "password": PASSWORD})
        client.post("/logout/")
        Caller("rs1_wrong").get("/me")
    events = [line["event"] for line in lines]
    assert [word for word in ("login_failed", "logged_in", "logged_out", "token_refused") if word not in events] == []
    assert "own.example" not in str(lines)


def test_an_error_tells_nothing_of_the_inside(cast: Cast, settings: Any):
    caller = caller_of(cast.own.office)
    caller.client.raise_request_exception = False
    with mock.patch("jobs.api.views.jobs_asked", side_effect=RuntimeError("secret of the inside")):
        answer = caller.get("/jobs")
    assert (answer.status_code, answer["Content-Type"]) == (500, "application/problem+json")
    assert "inside" not in answer.content.decode()
    client = client_of(cast.own.office)
    client.raise_request_exception = False
    with mock.patch("scheduling.views.jobs.jobs_found", side_effect=RuntimeError("secret of the inside")):
        answer = client.get("/jobs/")
    assert answer.status_code == 500
    assert "inside" not in answer.content.decode()
