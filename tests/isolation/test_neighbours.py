from __future__ import annotations

from collections.abc import Callable, Iterator
from unittest import mock

import pytest
from django.db import connection

from jobs.models import Job
from shared.tenancy.context import acting_for
from tests.api.caller import caller_of
from tests.cast import make_cast, open_job
from tests.faults.neighbours import Report
from tests.isolation.by_pool import errors_inside_transactions, left_behind
from tests.isolation.ways import WAYS
from tests.isolation.world import TwoFirms, two_firms

STRIDE = 5  # `tests.faults.neighbours` tries every id, header and word at every address


@pytest.fixture
def world(db: None) -> Iterator[TwoFirms]:
    yield two_firms()


@pytest.mark.parametrize("way", WAYS, ids=lambda way: f"{way.__module__.rpartition('.')[2]}.{way.__name__}")
def test_a_neighbour_sees_and_touches_nothing(world: TwoFirms, way: Callable[[TwoFirms, Report], None]):
    report = Report(stride=STRIDE)
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


@pytest.mark.django_db(transaction=True)
def test_a_connection_is_clean_after_whatever_breaks_in_a_transaction():
    """Committed rows and the same connection: what a pool gives back to the next request."""
    report = Report()
    errors_inside_transactions(two_firms().cast, report, rounds=1)
    print(dict(report.attempts))
    assert report.attempts.total() > 100
    assert "\n".join(report.leaks) == ""


@pytest.mark.django_db(transaction=True)
def test_a_connection_that_kept_its_firm_would_be_seen():
    """The look after a break is no look that cannot fail."""
    firm = two_firms().cast.own.contractor
    with connection.cursor() as cursor:
        cursor.execute("SELECT set_config('resurf.contractor', %s, false)", [str(firm.pk)])
        try:
            found = [leak for leak in left_behind("kept") if leak]
        finally:
            cursor.execute("RESET resurf.contractor")
    assert found == [f"kept: resurf.contractor is still {firm.pk}", "kept: rows are in sight"]


@pytest.mark.django_db(transaction=True)
def test_nothing_is_kept_of_a_request_that_ended_in_an_error():
    cast = make_cast()
    job = open_job(cast.own)

    def half_done(*args: object, **kwargs: object) -> None:
        Job.objects.update(notes="half done")
        with connection.cursor() as cursor:
            cursor.execute("SELECT no_such_column FROM jobs_job")

    caller = caller_of(cast.own.office)
    caller.client.raise_request_exception = False
    with mock.patch("jobs.api.views.scope_agree", half_done):
        answer = caller.post(f"/jobs/{job.pk}/scope", {})
    assert answer.status_code == 500
    with acting_for(cast.own.contractor.pk):
        assert Job.objects.get().notes == ""
