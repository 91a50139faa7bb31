"""Two refreshes of one job at once take turns: one computes, the other finds its work, one point of the band."""

from __future__ import annotations

import datetime as dt
import threading

import pytest
from django.db import connection

from jobs.models import BandPoint, ExpectedDates, Job
from scheduling.selectors.outlook import Effort
from scheduling.services import expected_dates
from scheduling.services.expected_dates import expected_dates_refresh_one, setting_of
from shared import clock
from shared.models import Contractor
from shared.tenancy.context import acting_for
from tests.cast import make_cast, open_job

NOW = dt.datetime(2026, 5, 12, 14, 5, tzinfo=dt.UTC)
QUICK = Effort(band=24, rows=4, days=24)


@pytest.mark.django_db(transaction=True)
def test_two_refreshes_at_once_write_one_result_and_one_point(monkeypatch: pytest.MonkeyPatch):
    with clock.clock_at(NOW):
        cast = make_cast()
        job = open_job(cast.own)
    computed: list[str] = []
    begun, go_on = threading.Event(), threading.Event()
    outlook_of = expected_dates.outlook_of

    def slow(*args, **kwargs):
        computed.append(threading.current_thread().name)
        begun.set()
        go_on.wait(20)
        return outlook_of(*args, **kwargs)

    monkeypatch.setattr(expected_dates, "outlook_of", slow)
    changed: dict[str, bool] = {}
    errors: list[BaseException] = []

    def refresh() -> None:
        try:
            contractor = Contractor.objects.get(pk=cast.own.contractor.pk)
            with acting_for(contractor.pk), clock.clock_at(NOW):
                setting = setting_of(contractor, QUICK)
                name = threading.current_thread().name
                changed[name] = expected_dates_refresh_one(contractor, job.pk, NOW, setting)
        except BaseException as error:
            errors.append(error)
        finally:
            connection.close()

    first = threading.Thread(target=refresh, name="first")
    second = threading.Thread(target=refresh, name="second")
    first.start()
    assert begun.wait(20)
    second.start()
    second.join(1.0)
    assert second.is_alive()  # it waits for its turn
    go_on.set()
    first.join(60)
    second.join(60)
    assert not errors
    assert computed == ["first"]
    assert changed == {"first": True, "second": False}
    with acting_for(cast.own.contractor.pk):
        assert ExpectedDates.objects.count() == 1
        assert BandPoint.objects.filter(job=Job.objects.get(pk=job.pk)).count() == 1
