"""An online source, from a real HTTP server on loopback to the stored arrays, on good days and bad ones."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable

import numpy as np
import pytest
from celery import current_app
from django.core.management import call_command

from jobs.models import WeatherCell
from jobs.selectors.weather import forecast_latest, members_of, unpack
from jobs.services.weather_hours import KEPT_MEMBERS, cell_open
from jobs.tasks import cell_fetch_task, cells_fetch_task
from jobs.timeline.kept_forecasts import forecast_of
from shared import clock
from shared.models import Firm
from shared.tenancy.context import acting_for
from tests.adapters.stub import Answer, feed_that, hangs_up, says
from tests.cast import Cast, open_job

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


def ensemble_body(start: dt.datetime, members: int = 4, hours: int = 120, **units: str) -> bytes:
    """The documented ensemble form: the control run, then each member's arrays under its numbered name."""
    answer = json.loads(body(start, hours))
    hourly, said = answer["hourly"], answer["hourly_units"]
    for name in ("precipitation_probability",):
        hourly.pop(name)
        said.pop(name)
    for name in [name for name in hourly if name != "time"]:
        for number in range(1, members + 1):
            key = f"{name}_member{number:02d}"
            said[key] = units.get(name, said[name])
            hourly[key] = list(hourly[name])
            if name == "temperature_2m":
                hourly[key] = [value + number for value in hourly[name]]
            if name == "precipitation" and number % 2:
                hourly[key][13] = 1.5  # half of the members are wet in one hour
    return json.dumps(answer).encode()


@pytest.fixture
def ensemble(db: None, settings) -> WeatherCell:
    return WeatherCell.objects.create(source="open-meteo-ensemble", latitude="36.10", longitude="-79.80")


def ask(cell: WeatherCell, settings, at: dt.datetime, *answers: Answer) -> list[tuple[str, dict[str, str]]]:
    with feed_that(*answers) as stub, clock.clock_at(at):
        settings.WEATHER_ENSEMBLE_URL = stub.url
        settings.WEATHER_ENSEMBLE_MODEL = "a_model"
        cell_fetch_task.run(str(cell.pk))
    cell.refresh_from_db()
    return stub.asked


def test_an_ensembles_members_are_stored_beside_their_middle(ensemble: WeatherCell, settings):
    asked = ask(ensemble, settings, NOW, says(body=ensemble_body(NOW)))
    assert asked[0][0].startswith("/v1/ensemble?")
    assert "models=a_model" in asked[0][0]
    assert "precipitation_probability" not in asked[0][0]
    row = forecast_latest(ensemble)
    assert row is not None
    middle, kept = unpack(row), members_of(ensemble, row)
    assert kept is not None
    members = unpack(kept)
    assert (members.scenarios, members.hours) == (4, 120)
    assert members.temp_air_c[:, 5] == pytest.approx([13, 14, 15, 16])
    assert middle.temp_air_c[5] == pytest.approx(14.5)
    assert middle.rain_probability[13] == pytest.approx(0.5)  # the share of wet members, over the 6 h block
    assert middle.rain_probability[40] == 0.0
    [compared] = ensemble.forecasts_kept.all()
    _, spread = forecast_of(compared.starts, bytes(compared.said))
    assert spread is not None
    assert spread.temp_c[0] == pytest.approx(np.std([1, 2, 3, 4], ddof=1), abs=0.03)


def test_only_the_latest_members_are_kept(ensemble: WeatherCell, settings):
    for hours in range(5):
        at = NOW + dt.timedelta(hours=hours)
        ask(ensemble, settings, at, says(body=ensemble_body(at, hours=72)))
    assert ensemble.hours.filter(kind="forecast").count() == 5
    assert ensemble.hours.filter(kind="members").count() == KEPT_MEMBERS


@pytest.mark.parametrize(
    ("lie", "words"),
    [
        (
            lambda text: text.replace(b'"temperature_2m_member02": [', b'"temperature_2m_member02": [1.0, '),
            "121 values",
        ),
        (lambda text: text.replace(b'"wind_speed_10m_member03"', b'"wind_speed_80m_member03"'), "every run"),
        (lambda text: text.replace(b"1.5", b"1500"), "rain"),
        (lambda text: text[:2000], ""),
        (lambda text: b'{"error": true, "reason": "No such model"}', "no such model"),
    ],
    ids=["one hour too many", "a member without wind", "absurd rain", "cut off", "refused"],
)
def test_a_member_that_lies_spoils_the_answer_and_the_last_good_one_stays(
    ensemble: WeatherCell, settings, lie: Callable[[bytes], bytes], words: str
):
    settings.WEATHER_TRIES = 1
    ask(ensemble, settings, NOW, says(body=ensemble_body(NOW)))
    later = NOW + dt.timedelta(hours=1)
    ask(ensemble, settings, later, says(body=lie(ensemble_body(later))))
    row = forecast_latest(ensemble)
    assert row is not None
    assert row.issued_at == NOW
    assert members_of(ensemble, row) is not None
    assert ensemble.failure != ""
    assert words in ensemble.failure.lower()


def test_a_control_run_without_members_is_a_forecast_like_any_other(ensemble: WeatherCell, settings):
    ask(ensemble, settings, NOW, says(body=body(NOW)))
    row = forecast_latest(ensemble)
    assert row is not None
    assert members_of(ensemble, row) is None
    assert unpack(row).rain_probability[3] == pytest.approx(0.2)


def test_a_cell_that_no_job_asks_for_is_not_fetched_any_more(cell: WeatherCell, monkeypatch: pytest.MonkeyPatch):
    woken: list[str] = []
    monkeypatch.setattr(cell_fetch_task, "delay", woken.append)
    today = NOW.date()
    days = {"today": 0, "a month ago": 30, "longer ago": 31}
    cells = {
        words: WeatherCell.objects.create(
            source="nws", latitude=f"{40 + n}.10", longitude="-79.80", used_on=today - dt.timedelta(days=n)
        )
        for words, n in days.items()
    }
    with clock.clock_at(NOW):
        cells_fetch_task.run()
    assert set(woken) == {str(cell.pk), str(cells["today"].pk), str(cells["a month ago"].pk)}


def test_a_new_cell_is_asked_for_at_once_and_its_first_answer_wakes_the_dates(
    cast: Cast, settings, monkeypatch: pytest.MonkeyPatch, django_capture_on_commit_callbacks
):
    sent: list[tuple[str, object]] = []
    monkeypatch.setattr(current_app, "send_task", lambda name, args=None, **how: sent.append((name, args)))
    job = open_job(cast.own)
    sent.clear()
    with acting_for(cast.own.contractor.pk), django_capture_on_commit_callbacks(execute=True):
        new = cell_open(job.site, "open-meteo")
        cell_open(job.site, "open-meteo")
    assert sent == [("jobs.cell_fetch", [str(new.pk)])]
    sent.clear()
    fetch(new, settings, NOW, says(body=body(NOW)))
    fetch(new, settings, NOW + dt.timedelta(hours=1), says(body=body(NOW + dt.timedelta(hours=1))))
    assert sent == [("scheduling.refresh", None)]


def test_the_command_asks_every_open_jobs_source_and_names_what_fails(cast: Cast, settings, capsys):
    with acting_for(cast.own.contractor.pk):
        Firm.objects.update(weather_source="open-meteo")
    open_job(cast.own)
    open_job(cast.other)  # on bundled weather
    settings.WEATHER_TRIES = 1
    for answer, said in (
        (says(body=body(NOW)), "2 cells, 2 with a new forecast"),
        (says(503), "2 cells, 0 with a new"),
    ):
        with feed_that(answer) as stub, clock.clock_at(NOW):
            settings.WEATHER_OPEN_METEO_URL = stub.url
            call_command("weather", "fetch")
        out = capsys.readouterr()
        assert said in out.out
    assert "answers 503" in out.err
