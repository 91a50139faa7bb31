"""“Fetch it again” asks the source that the firm's forecasts come from, not only our own stored hours."""

from __future__ import annotations

import datetime as dt

import pytest
from django.urls import reverse

from jobs.models import WeatherCell
from jobs.services.weather_hours import cell_open
from jobs.tasks import cell_fetch_task
from shared import clock
from shared.models import Firm
from shared.tenancy.context import acting_for
from tests.adapters.stub import feed_that, says
from tests.broker import taken
from tests.cast import FirmCast, client_of, make_firm, open_job
from tests.jobs.test_weather_sources import NOW, body

Call = tuple[str, list[object]]


@pytest.fixture
def online(transactional_db: None) -> tuple[FirmCast, WeatherCell]:
    firm = make_firm("own", "Own Basin Works", "us")
    job = open_job(firm)
    with acting_for(firm.contractor.pk):
        Firm.objects.update(weather_source="open-meteo")
        cell = cell_open(job.site, "open-meteo")
    taken("weather")
    return firm, cell


def asked_again(firm: FirmCast) -> list[Call]:
    assert client_of(firm.office).post(reverse("weather-again")).status_code == 302
    return [(name, list(arguments)) for name, arguments in taken("weather")]


def test_the_firms_cells_are_asked_and_its_dates_computed(online: tuple[FirmCast, WeatherCell]) -> None:
    firm, cell = online
    found = asked_again(firm)
    assert ("jobs.cell_fetch", [str(cell.pk), str(firm.contractor.pk)]) in found
    assert ("scheduling.expected_dates", [str(firm.contractor.pk)]) in found


def test_a_source_is_not_asked_more_than_once_a_minute(online: tuple[FirmCast, WeatherCell]) -> None:
    firm, cell = online
    now = clock.now()
    for seconds, asked in ((59, 0), (60, 1)):
        WeatherCell.objects.filter(pk=cell.pk).update(asked_at=now - dt.timedelta(seconds=seconds))
        with clock.clock_at(now):
            names = [name for name, _ in asked_again(firm)]
        assert names.count("jobs.cell_fetch") == asked


def test_dates_follow_a_new_answer_at_once_and_only_those_of_who_asked(
    online: tuple[FirmCast, WeatherCell], settings
) -> None:
    firm, cell = online
    settings.WEATHER_TRIES = 1
    told = []
    for number, answer in enumerate((says(body=body(NOW)), says(body=body(NOW, temp_c=9.0)), says(500))):
        with feed_that(answer) as stub, clock.clock_at(NOW + dt.timedelta(minutes=number)):
            settings.WEATHER_OPEN_METEO_URL = stub.url
            cell_fetch_task.run(str(cell.pk), str(firm.contractor.pk))
        told.append([(name, list(arguments)) for name, arguments in taken("weather")])
    first, again, nothing = told
    assert [name for name, _ in first] == ["scheduling.refresh"]  # whoever waited for the first one
    assert again == [("scheduling.expected_dates", [str(firm.contractor.pk)])]
    assert nothing == []


def test_bundled_weather_is_asked_of_nobody(transactional_db: None) -> None:
    firm = make_firm("own", "Own Basin Works", "us")
    open_job(firm)
    taken("weather")
    assert [name for name, _ in asked_again(firm)] == ["scheduling.expected_dates"]
