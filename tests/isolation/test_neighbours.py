from __future__ import annotations

from collections.abc import Callable, Iterator
from unittest import mock

import pytest
from django.db import connection
from django.http import HttpRequest, HttpResponse

from jobs.models import Job
from shared.tenancy.context import acting_for, contractor_id_or_none
from tests.api.caller import caller_of
from tests.cast import Cast, client_of, make_cast, open_job
from tests.faults.neighbours import Report
from tests.isolation.ways import WAYS
from tests.isolation.world import TwoFirms, two_firms


@pytest.fixture
def world(db: None) -> Iterator[TwoFirms]:
    yield two_firms()


@pytest.mark.parametrize("way", WAYS, ids=lambda way: f"{way.__module__.rpartition('.')[2]}.{way.__name__}")
def test_a_neighbour_sees_and_touches_nothing(world: TwoFirms, way: Callable[[TwoFirms, Report], None]):
    report = Report()
    way(world, report)
    print(dict(report.attempts))
    assert report.attempts.total() > 0
    assert "\n".join(report.leaks) == ""


def test_a_leak_would_be_seen(world: TwoFirms):
    """The walker is no walker that cannot fail: our own member is let in, and that counts as a leak."""
    report = Report()
    world.cast.other.members["manager"] = world.cast.own.manager
    WAYS[0](world, report)
    assert len(report.leaks) > 20


BROKEN = "SELECT no_such_column FROM jobs_job"


def _broken(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponse:
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM jobs_job")
        assert cursor.fetchone()[0] == 1, "the firm's own row was in sight before the error"
        cursor.execute(BROKEN)
    raise AssertionError("the statement was to fail")


def _left_behind() -> tuple[str, str, int, object]:
    with connection.cursor() as cursor:
        cursor.execute("SELECT COALESCE(current_setting('resurf.contractor', true), '')")
        firm = str(cursor.fetchone()[0])
        cursor.execute("SELECT COALESCE(current_setting('resurf.person', true), '')")
        person = str(cursor.fetchone()[0])
        cursor.execute("SELECT count(*) FROM jobs_job")
        return firm, person, int(cursor.fetchone()[0]), contractor_id_or_none()


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("by", ["screen", "API"])
def test_a_connection_is_clean_after_an_error_in_a_transaction(by: str):
    """Committed rows and the same connection: what a pool gives back to the next request."""
    cast: Cast = make_cast()
    job = open_job(cast.own)
    backend = connection.connection
    if by == "screen":
        client = client_of(cast.own.office)
        client.raise_request_exception = False
        with mock.patch("scheduling.views.jobs.jobs_found", _broken):
            answer = client.get("/jobs/")
    else:
        caller = caller_of(cast.own.office)
        caller.client.raise_request_exception = False
        with mock.patch("jobs.api.views.jobs_asked", _broken):
            answer = caller.get("/jobs")
    assert answer.status_code == 500
    assert connection.connection is backend, "the connection was not used again"
    assert _left_behind() == ("", "", 0, None)
    with acting_for(cast.own.contractor.pk):
        assert Job.objects.get().pk == job.pk


@pytest.mark.django_db(transaction=True)
def test_nothing_is_kept_of_a_request_that_ended_in_an_error():
    cast = make_cast()
    job = open_job(cast.own)

    def half_done(*args: object, **kwargs: object) -> None:
        Job.objects.update(notes="half done")
        with connection.cursor() as cursor:
            cursor.execute(BROKEN)

    caller = caller_of(cast.own.office)
    caller.client.raise_request_exception = False
    with mock.patch("jobs.api.views.scope_agree", half_done):
        answer = caller.post(f"/jobs/{job.pk}/scope", {})
    assert answer.status_code == 500
    with acting_for(cast.own.contractor.pk):
        assert Job.objects.get().notes == ""
