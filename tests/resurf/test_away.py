"""While the database is away, visitors and programs are told to come back; a mistake of ours is still a mistake."""

from __future__ import annotations

import json
from unittest import mock

import pytest
from django.db import InterfaceError, OperationalError
from django.http import HttpResponse
from django.test import Client

from tests.api.caller import caller_of
from tests.cast import Cast, client_of

SCREEN, PROGRAM = "scheduling.views.jobs.jobs_found", "jobs.api.views.jobs_asked"


def on_screen(cast: Cast, error: Exception) -> HttpResponse:
    client: Client = client_of(cast.own.office)
    client.raise_request_exception = False
    with mock.patch(SCREEN, side_effect=error):
        return client.get("/jobs/")  # type: ignore[return-value]  # the stubs wrap it


@pytest.mark.parametrize("error", [OperationalError("connection refused"), InterfaceError("connection already closed")])
def test_a_page_that_cannot_reach_the_database_says_when_to_come_back(cast: Cast, error: Exception) -> None:
    answer = on_screen(cast, error)
    assert answer.status_code == 503
    assert answer["Retry-After"] == "5"
    assert "connection" not in answer.content.decode()


def test_a_mistake_of_ours_stays_a_mistake(cast: Cast) -> None:
    answer = on_screen(cast, ZeroDivisionError("secret words"))
    assert answer.status_code == 500
    assert "Retry-After" not in answer
    assert "secret words" not in answer.content.decode()


@pytest.mark.parametrize(("error", "status"), [(OperationalError("refused"), 503), (ZeroDivisionError(), 500)])
def test_programs_get_a_problem_of_either_sort(cast: Cast, error: Exception, status: int) -> None:
    caller = caller_of(cast.own.office)
    caller.client.raise_request_exception = False
    with mock.patch(PROGRAM, side_effect=error):
        answer = caller.get("/jobs")
    assert answer.status_code == status
    assert answer["Content-Type"] == "application/problem+json"
    assert json.loads(answer.content)["status"] == status
    assert ("Retry-After" in answer) is (status == 503)
