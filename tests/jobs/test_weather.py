"""The firm's page on weather: sources and their age, own files of hours, refusals that lose nothing."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import override_settings
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.models import Job, WeatherCell, WeatherFile
from jobs.selectors.weather import site_weather
from jobs.selectors.weather_files import file_hours, firm_year
from jobs.services.weather_hours import cell_open, failure_note, forecast_keep
from jobs.timeline.scenarios import ScenarioSite, weather_scenarios
from jobs.timeline.weather_files import typical_year
from shared import clock
from shared.models import AuditEntry, Firm
from shared.tenancy.context import acting_for
from tests.cast import Cast, client_of, open_job

NOW = dt.datetime(2026, 5, 12, 14, 5, tzinfo=dt.UTC)
HOUR, DAY = dt.timedelta(hours=1), dt.timedelta(days=1)
HEAD = "hour_beginning_utc,temp_air_f,relative_humidity_percent,wind_10m_mph,rain_in"


@pytest.fixture
def job(cast: Cast) -> Job:
    with clock.clock_at(NOW):
        return open_job(cast.own)


def hours_text(hours: int, start: dt.datetime = dt.datetime(2025, 1, 1, tzinfo=dt.UTC), warmer_f: float = 0.0) -> str:
    """Hours of a plain year: warm in July, rain every tenth day at noon."""
    lines = [HEAD]
    for number in range(hours):
        at = start + number * HOUR
        temp = 55 - 25 * np.cos(2 * np.pi * number / 8766) - 8 * np.cos(2 * np.pi * at.hour / 24) + warmer_f
        rain = 0.2 if number // 24 % 10 == 0 and at.hour == 17 else 0
        lines.append(f"{at:%Y-%m-%dT%H:%M},{temp:.1f},60,6,{rain}")
    return "\n".join(lines)


def fields(**changes: object) -> dict[str, object]:
    return {"name": "Own gauge", "latitude": "36.12", "longitude": "-79.81", "text": hours_text(48), **changes}


def send(cast: Cast, **changes: object):
    with clock.clock_at(NOW):
        return client_of(cast.own.manager).post(reverse("weather-file"), fields(**changes))


def page(cast: Cast, now: dt.datetime = NOW) -> str:
    with clock.clock_at(now):
        answer = client_of(cast.own.office).get(reverse("weather"))
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def choose(cast: Cast, source: str):
    with clock.clock_at(NOW):
        return client_of(cast.own.manager).post(reverse("weather-source"), {"source": source})


def test_a_pasted_text_is_kept_and_said_what_for(cast: Cast):
    assert send(cast).status_code == 302
    with acting_for(cast.own.contractor.pk):
        file = WeatherFile.objects.get()
        assert (file.count, file.missing_h, file.kept_by) == (48, 0, cast.own.manager.person.name)
        assert file_hours(file).temp_air_c[0] == pytest.approx((55 - 25 - 8 - 32) / 1.8, abs=0.1)
        assert AuditEntry.objects.filter(what="weather file kept").exists()
    assert "Not used: it has 48 h, a whole year has 8760." in page(cast)


def test_a_file_is_read_with_or_without_the_mark_of_its_encoding(cast: Cast):
    for number, text in enumerate((hours_text(30).encode(), b"\xef\xbb\xbf" + hours_text(31).encode())):
        sent = SimpleUploadedFile(f"hours{number}.csv", text, "text/csv")
        assert send(cast, file=sent, text="", name=f"Gauge {number}").status_code == 302
    with acting_for(cast.own.contractor.pk):
        assert sorted(WeatherFile.objects.values_list("count", "file_name")) == [(30, "hours0.csv"), (31, "hours1.csv")]


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ("02:00,", "02:30,", "line 4:"),
        ("temp_air_f", "temperature", "column &#x27;temperature&#x27; is unknown"),
        ("T03:00,2", "T03:00,warm2", "line 5, temp_air_f: &#x27;warm2"),
        ("T03:00,2", "T03:00,-999", "line 5, temp_air_f: -999"),
        (
            ",60,6,0\n2025-01-01T05",
            ",60,600,0\n2025-01-01T05",
            "line 6, wind_10m_mph: 600; wind at 10 m may be 0 to 167.8",
        ),
        ("hour_beginning_utc", "time", "the first column is &#x27;time&#x27;"),
    ],
)
@pytest.mark.parametrize("as_file", [True, False])
def test_a_refusal_names_line_column_and_unit_and_gives_the_text_back(
    cast: Cast, old: str, new: str, sentence: str, as_file: bool
):
    good = hours_text(48)
    assert old in good
    wrong = good.replace(old, new, 1)
    sent = {"file": SimpleUploadedFile("hours.csv", wrong.encode()), "text": ""} if as_file else {"text": wrong}
    answer = send(cast, **sent)
    html = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in html
    assert "Own gauge" in html
    assert new in html.replace("&#x27;", "'")  # what was sent stands in the field, to be corrected
    with acting_for(cast.own.contractor.pk):
        assert not WeatherFile.objects.exists()


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"latitude": "97"}, "97"),
        ({"longitude": "east"}, "Longitude"),
        ({"name": ""}, "required"),
        ({"text": ""}, "Choose a file, or paste its text."),
        ({"text": "", "file": SimpleUploadedFile("x.csv", b"")}, "Choose a file, or paste its text."),
        ({"text": "", "file": SimpleUploadedFile("x.xls", b"\xd0\xcf\x11\xe0")}, "no UTF-8 text"),
        ({"text": "", "file": SimpleUploadedFile("x.csv", b"9" * (12 * 1024 * 1024 + 1))}, "allowed is at most 12 MB"),
        ({"text": "a\x00b"}, "Null characters are not allowed."),
        ({"text": "", "file": SimpleUploadedFile("x.csv", b"a\x00b")}, "NUL"),
    ],
    ids=lambda value: str(value)[:30],
)
def test_other_refusals(cast: Cast, changes: dict[str, object], sentence: str):
    answer = send(cast, **changes)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()


def test_the_same_hours_of_a_place_are_kept_once(cast: Cast):
    assert send(cast).status_code == 302
    again = send(cast, name="Another name")
    assert again.status_code == 422
    assert "kept already, as “Own gauge”" in again.content.decode()
    assert send(cast, latitude="36.5").status_code == 302  # elsewhere


@pytest.mark.parametrize(("missing", "used"), [(175, True), (176, False)])
def test_a_year_of_ones_own_stands_in_unless_too_much_is_missing(cast: Cast, job: Job, missing: int, used: bool):
    """2 % of 8760 h are 175.2."""
    lines = hours_text(8760, warmer_f=9.0).splitlines()
    for number in range(100, 100 + missing):
        stamp, _, rest = lines[number].partition(",")
        lines[number] = f"{stamp},,{rest.partition(',')[2]}"
    assert send(cast, text="\n".join(lines)).status_code == 302
    with acting_for(cast.own.contractor.pk):
        assert (firm_year(job.site, 50.0) is not None) == used
        Firm.objects.update(weather_source="nws")
        ahead = typical_year("greensboro_nc").on(NOW.replace(minute=0), NOW.replace(minute=0) + 5 * DAY)
        forecast_keep(cell_open(job.site, "nws"), ahead, issued_at=NOW, at=NOW, validators={})
        found = site_weather(job.site, "nws")
        assert found is not None
        assert found.station == ("Own gauge" if used else "greensboro_nc")
        assert np.isfinite(found.climatology.temp_air_c).all()
        drawn = weather_scenarios(None, None, found.climatology, ScenarioSite(job.site.zone), NOW, 24 * 20, 30, 1)
        assert drawn.scenarios == 30
    assert ("Stands in for the past of the season at Site 01." in page(cast)) == used
    assert ("Not used: 176 h lack" in page(cast)) != used


def test_years_of_ones_own_follow_one_another_without_29_february(cast: Cast, job: Job):
    """A leap year among three: the hour of a date is the hour of that date in each of them."""
    text = hours_text(3 * 8760 + 24 + 500, start=dt.datetime(2023, 3, 5, 7, tzinfo=dt.UTC))
    assert send(cast, text=text).status_code == 302
    with acting_for(cast.own.contractor.pk):
        own = firm_year(job.site, 50.0)
        assert own is not None
        years = own.on(dt.date(2026, 8, 1))
        assert years.hours == 3 * 8760
        assert (years.start.month, years.start.day, years.start.hour) == (1, 31, 0)
        read = file_hours(WeatherFile.objects.get())
        march = int((dt.datetime(2026, 3, 4, 12, tzinfo=dt.UTC) - years.start) / HOUR)
        asked = {dt.datetime(year, 3, 4, 12, tzinfo=dt.UTC) for year in (2024, 2025, 2026)}
        there = sorted(float(read.at(each + HOUR).temp_air_c) for each in asked)
        mine = sorted(float(years.temp_air_c[march + 8760 * number]) for number in range(3))
        assert mine == pytest.approx(there, abs=1e-4)


def test_a_file_can_be_removed_and_a_neighbour_cannot_see_it(cast: Cast):
    send(cast)
    with acting_for(cast.own.contractor.pk):
        file = WeatherFile.objects.get()
    theirs = client_of(cast.other.manager)
    assert theirs.post(reverse("weather-file-remove", args=[file.pk])).status_code == 404
    assert "Own gauge" not in theirs.get(reverse("weather")).content.decode()
    assert client_of(cast.own.manager).post(reverse("weather-file-remove", args=[file.pk])).status_code == 302
    with acting_for(cast.own.contractor.pk):
        assert not WeatherFile.objects.exists()
        assert AuditEntry.objects.filter(what="weather file removed").exists()


def test_the_firms_choice_goes_before_the_installations(cast: Cast, job: Job):
    with override_settings(WEATHER_SOURCE="nws"):
        assert "In force: US National Weather Service, grid forecast." in page(cast)
        assert "What the installation chooses: US National Weather Service" in page(cast)
        assert choose(cast, "open-meteo-ensemble").status_code == 302
        assert "In force: ensemble server" in page(cast)
    with acting_for(cast.own.contractor.pk):
        assert Firm.objects.get().source == "open-meteo-ensemble"
        [line] = AuditEntry.objects.filter(what="weather source changed")
        assert line.after == {"source": "open-meteo-ensemble"}
    assert choose(cast, "").status_code == 302
    assert choose(cast, "the almanac").status_code == 302
    assert "Choose one of the sources." in page_after(cast, "the almanac")
    with acting_for(cast.own.contractor.pk):
        assert Firm.objects.get().weather_source == ""


def page_after(cast: Cast, source: str) -> str:
    client = client_of(cast.own.manager)
    with clock.clock_at(NOW):
        client.post(reverse("weather-source"), {"source": source})
        return client.get(reverse("weather")).content.decode()


def test_age_and_trouble_of_each_place_are_shown(cast: Cast, job: Job):
    """None yet; fresh; 12 h are not old, 13 h are; after ten days nothing is left; a failure is said beside it."""
    choose(cast, "nws")
    assert "none<br><b>No forecast has come yet" in page(cast)
    with acting_for(cast.own.contractor.pk):
        cell = cell_open(job.site, "nws")
        ahead = typical_year("greensboro_nc").on(NOW.replace(minute=0), NOW.replace(minute=0) + 7 * DAY)
        forecast_keep(cell, ahead, issued_at=NOW, at=NOW, validators={})
    fresh = page(cast, NOW + 12 * HOUR)
    assert "12 h old" in fresh
    assert "It is old" not in fresh
    assert "It is old" in page(cast, NOW + 12 * HOUR + dt.timedelta(minutes=1))
    assert "It is old" in page(cast, NOW + 10 * DAY)
    assert "Nothing of it is left" in page(cast, NOW + 10 * DAY + dt.timedelta(minutes=1))
    failure_note(WeatherCell.objects.get(source="nws"), "127.0.0.1 answers 503.", at=NOW + 13 * HOUR)
    assert "No usable answer:</b> 127.0.0.1 answers 503." in page(cast, NOW + 13 * HOUR)


def test_the_page_asks_the_database_no_more_for_more_sites(cast: Cast, job: Job):
    choose(cast, "nws")
    send(cast)

    def queries() -> int:
        with CaptureQueriesContext(connection) as seen:
            page(cast)
        return len(seen)

    one = queries()
    with clock.clock_at(NOW), acting_for(cast.own.contractor.pk):
        cell_open(job.site, "nws")
    with clock.clock_at(NOW):
        for number in range(2, 6):
            other = open_job(cast.own, label=f"Site 0{number}", site={"latitude": 36.1 + number})
            with acting_for(cast.own.contractor.pk):
                cell_open(other.site, "nws")
    assert queries() <= one + 1  # errors learned nearby are looked for once
    assert "Site 05" in page(cast)
