"""An online source, from a real HTTP server on loopback to the stored arrays, on good days and bad ones."""

from __future__ import annotations

import datetime as dt
import json

import numpy as np
import pytest

from jobs.models import WeatherCell
from jobs.selectors.weather import forecast_latest, unpack
from jobs.tasks import cell_fetch_task
from shared import clock
from tests.adapters.stub import Answer, feed_that, hangs_up, says

NOW = dt.datetime(2026, 4, 15, 12, tzinfo=dt.UTC)


def body(start: dt.datetime, hours: int = 72, temp_c: float = 12.0) -> bytes:
    """An answer in the documented form of hourly arrays; amounts are of the hour before their time."""
    times = [(start + dt.timedelta(hours=n)).strftime("%Y-%m-%dT%H:%M") for n in range(hours)]
    units = {
        "time": "iso8601",
        "temperature_2m": "°C",
        "dew_point_2m": "°C",
        "wind_speed_10m": "m/s",
        "precipitation": "mm",
        "precipitation_probability": "%",
        "cloud_cover": "%",
    }
    flat = {
        "temperature_2m": temp_c,
        "dew_point_2m": 5.0,
        "wind_speed_10m": 3.0,
        "precipitation": 0.0,
        "precipitation_probability": 20,
        "cloud_cover": 40,
    }
    hourly = {"time": times, **{name: [value] * hours for name, value in flat.items()}}
    whole = {"latitude": 36.1, "longitude": -79.8, "timezone": "GMT", "utc_offset_seconds": 0}
    return json.dumps({**whole, "hourly_units": units, "hourly": hourly}).encode()


@pytest.fixture
def cell(db: None) -> WeatherCell:
    return WeatherCell.objects.create(source="open-meteo", latitude="36.10", longitude="-79.80")


def fetch(cell: WeatherCell, settings, at: dt.datetime, *answers: Answer) -> list[tuple[str, dict[str, str]]]:
    with feed_that(*answers) as stub, clock.clock_at(at):
        settings.WEATHER_OPEN_METEO_URL = stub.url
        cell_fetch_task.run(str(cell.pk))
    cell.refresh_from_db()
    return stub.asked


def test_a_good_answer_is_stored_as_arrays(cell: WeatherCell, settings):
    fetch(cell, settings, NOW, says(body=body(NOW)))
    row = forecast_latest(cell)
    assert row is not None
    weather = unpack(row)
    assert (weather.start, weather.hours) == (NOW - dt.timedelta(hours=1), 72)
    assert np.allclose(weather.temp_air_c[1:], 12.0)
    assert np.allclose(weather.wind_m_s, 3.0)
    assert (cell.failure, cell.asked_at) == ("", NOW)


def test_an_unchanged_answer_keeps_the_stored_one(cell: WeatherCell, settings):
    fetch(cell, settings, NOW, says(body=body(NOW), ETag='"one"'))
    asked = fetch(cell, settings, NOW + dt.timedelta(hours=1), says(304, b""))
    assert asked[0][1]["if-none-match"] == '"one"'
    assert cell.hours.count() == 1
    assert cell.asked_at == NOW + dt.timedelta(hours=1)


def test_the_next_issue_remembers_the_hours_that_came_true(cell: WeatherCell, settings):
    fetch(cell, settings, NOW, says(body=body(NOW, temp_c=8.0)))
    later = NOW + dt.timedelta(hours=6)
    fetch(cell, settings, later, says(body=body(later, temp_c=15.0)))
    row = forecast_latest(cell)
    assert row is not None
    weather = unpack(row)
    assert (weather.start, weather.hours) == (NOW - dt.timedelta(hours=1), 78)
    assert np.allclose(weather.temp_air_c[1:6], 8.0)
    assert np.allclose(weather.temp_air_c[7:], 15.0)


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        (says(404, b"{}"), "404"),
        (says(body=b"<html>down for repairs</html>", kind="text/html"), "html"),
        (says(body=body(NOW)[:900]), ""),
        (says(body=body(NOW).replace(b"12.0", b"NaN")), ""),
        (says(body=body(NOW).replace(b"12.0", b"412.0")), "air temperature"),
        (says(body=body(NOW).replace(b"m/s", b"furlong/fortnight")), "furlong"),
        (hangs_up, ""),
    ],
    ids=["not found", "a page", "cut off", "not a number", "absurd", "wrong unit", "hangs up"],
)
def test_a_bad_answer_leaves_the_last_good_one_and_says_why(cell: WeatherCell, settings, answer: Answer, words: str):
    fetch(cell, settings, NOW, says(body=body(NOW)))
    before = forecast_latest(cell)
    later = NOW + dt.timedelta(hours=1)
    settings.WEATHER_TRIES = 1
    fetch(cell, settings, later, answer)
    assert forecast_latest(cell) == before
    assert cell.failure != ""
    assert words in cell.failure.lower()
    assert cell.asked_at == later
