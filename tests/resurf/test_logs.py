"""Logs: JSON with a request id; no secrets of addresses, no quoted rows."""

from __future__ import annotations

import io
import json
import logging
from collections.abc import Iterator
from typing import Any

import pytest
import structlog
from django.conf import settings as django_settings
from django.http import HttpRequest, HttpResponse
from django.test import Client
from django.urls import path

from resurf import logs
from resurf.request_log import HEADER

SECRET = "private-link-0123456789"
OF_A_DATABASE = "broken\nDETAIL:  Key (email)=(somebody@firm.example) already exists.\nand so on"


def fails(request: HttpRequest, token: str) -> HttpResponse:
    raise ValueError(OF_A_DATABASE)


urlpatterns = [path("feed/<str:token>/", fails)]


@pytest.fixture
def lines() -> Iterator[io.StringIO]:
    """What the production settings write."""
    text = io.StringIO()
    production = logs.logging_settings(readable=False, level="INFO")
    production["handlers"]["lines"]["stream"] = text
    kept = logging.getLogger().handlers[:]
    logs.configure(production)
    yield text
    logs.configure(django_settings.LOGGING)
    logging.getLogger().handlers[:] = kept


def written(lines: io.StringIO) -> list[dict[str, Any]]:
    return [json.loads(line) for line in lines.getvalue().splitlines()]


def test_a_line_is_json_with_time_level_logger_and_facts(lines: io.StringIO) -> None:
    structlog.get_logger("resurf.try").warning("pump_late", minutes=5)
    (line,) = written(lines)
    assert line.pop("timestamp").endswith("Z")
    assert line == {"event": "pump_late", "level": "warning", "logger": "resurf.try", "minutes": 5}


def test_lines_of_libraries_have_the_same_form(lines: io.StringIO) -> None:
    logging.getLogger("some.library").info("connected to %s", "broker")
    (line,) = written(lines)
    assert (line["event"], line["level"], line["logger"]) == ("connected to broker", "info", "some.library")


@pytest.mark.django_db
@pytest.mark.urls(__name__)
def test_a_failed_request_is_logged_by_route_with_its_id_and_without_secrets(lines: io.StringIO) -> None:
    client = Client(raise_request_exception=False)
    answer = client.get(f"/feed/{SECRET}/", headers={HEADER: "given-by-the-proxy"})
    assert answer.status_code == 500
    assert answer[HEADER] == "given-by-the-proxy"
    failed, request = written(lines)
    assert failed["request_id"] == request["request_id"] == "given-by-the-proxy"
    assert failed["event"] == "Internal Server Error"
    assert "ValueError: broken" in failed["exception"]
    assert (request["event"], request["route"], request["status"]) == ("request", "feed/<str:token>/", 500)
    assert SECRET not in lines.getvalue()
    assert "somebody@firm.example" not in lines.getvalue()


@pytest.mark.django_db
def test_an_id_that_is_no_id_is_replaced(lines: io.StringIO) -> None:
    answer = Client().get("/nowhere/", headers={HEADER: "x" * 500})
    assert len(answer[HEADER]) == 32
    assert written(lines)[-1]["request_id"] == answer[HEADER]


def test_readable_lines_are_no_json() -> None:
    settings = logs.logging_settings(readable=True, level="INFO")
    formatter = logging.config.DictConfigurator(settings).configure_formatter(settings["formatters"]["lines"])
    record = logging.LogRecord("a.library", logging.INFO, __file__, 1, "hello", None, None)
    assert "[info     ] hello" in formatter.format(record)
