"""Weather is stored per cell, once for all firms, and comes back as it was."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.adapters.archive import PAST, archive_forecast, archive_truth
from jobs.models import Site, WeatherCell, WeatherHours
from jobs.selectors.weather import archive_of, cell_key, forecast_latest, pack, site_weather, unpack
from jobs.services.weather_hours import KEPT_ISSUES, cell_open, cell_refresh, hours_keep
from jobs.timeline.weather import HourlyWeather
from jobs.timeline.weather_quantities import QUANTITIES
from shared.tenancy.context import acting_for
from tests.cast import Cast, open_job

NOON = dt.datetime(2026, 4, 15, 16, 40, tzinfo=dt.UTC)
ISSUED = dt.datetime(2026, 4, 15, 12, tzinfo=dt.UTC)


def weather(start: dt.datetime = ISSUED, hours: int = 48, temp_c: float = 12.0) -> HourlyWeather:
    steady = np.full(hours, 1.0)
    return HourlyWeather.of(
        start, temp_air_c=temp_c * steady, dew_point_c=4 * steady, wind_m_s=3 * steady, rain_mm=0 * steady
    )


@pytest.fixture
def cell(db: None) -> WeatherCell:
    return WeatherCell.objects.create(source="archive:greensboro_nc", latitude="36.10", longitude="-79.80")


@settings(max_examples=30)
@given(data=st.data(), hours=st.integers(1, 72))
def test_any_weather_comes_back_as_it_was_with_its_gaps(data: st.DataObject, hours: int):
    """As float32: 24 bits of every value, NaN for a gap."""
    fields = {
        name: np.array(
            data.draw(
                st.lists(
                    st.one_of(st.just(float("nan")), st.floats(kind.low, kind.high)), min_size=hours, max_size=hours
                ),
                label=name,
            )
        )
        for name, kind in QUANTITIES.items()
    }
    given_weather = HourlyWeather(ISSUED, **fields)
    row = WeatherHours(starts=ISSUED, count=hours, arrays=pack(given_weather))
    back = unpack(row)
    assert (back.start, back.hours) == (ISSUED, hours)
    for name in QUANTITIES:
        np.testing.assert_allclose(getattr(back, name), getattr(given_weather, name), rtol=2**-23, atol=1e-37)


def test_the_same_weather_has_the_same_mark_and_another_value_another(cell: WeatherCell):
    first = hours_keep(cell, weather(), issued_at=ISSUED, at=NOON).fingerprint
    again = hours_keep(cell, weather(), issued_at=ISSUED, at=NOON + dt.timedelta(hours=1)).fingerprint
    other = hours_keep(cell, weather(temp_c=12.1), issued_at=ISSUED, at=NOON).fingerprint
    assert first == again
    assert other != first
    assert WeatherHours.objects.count() == 1  # one issue is one row


def test_only_the_latest_issues_are_kept(cell: WeatherCell):
    issues = [ISSUED + dt.timedelta(hours=6 * n) for n in range(KEPT_ISSUES + 4)]
    for issued_at in [*issues[4:], *issues[:4]]:  # late ones among them
        hours_keep(cell, weather(issued_at), issued_at=issued_at, at=issued_at)
    assert list(cell.hours.order_by("issued_at").values_list("issued_at", flat=True)) == issues[4:]
    latest = forecast_latest(cell)
    assert latest is not None
    assert latest.issued_at == issues[-1]


def test_thinning_one_cell_leaves_the_others(cell: WeatherCell):
    other = WeatherCell.objects.create(source=cell.source, latitude="25.80", longitude="-80.20")
    hours_keep(other, weather(), issued_at=ISSUED - dt.timedelta(days=40), at=NOON)
    for n in range(KEPT_ISSUES + 2):
        hours_keep(cell, weather(), issued_at=ISSUED + dt.timedelta(hours=6 * n), at=NOON)
    assert (cell.hours.count(), other.hours.count()) == (KEPT_ISSUES, 1)


@pytest.mark.parametrize(
    ("minutes", "issue"), [(0, 12), (5 * 60 + 59, 12), (6 * 60, 18), (-1, 6)], ids=lambda n: str(n)
)
def test_an_archive_is_issued_every_six_hours(cell: WeatherCell, minutes: int, issue: int):
    now = ISSUED + dt.timedelta(minutes=minutes)
    assert cell_refresh(cell, now)
    assert not cell_refresh(cell, now)
    latest = forecast_latest(cell)
    assert latest is not None
    assert latest.issued_at == now.replace(hour=issue, minute=0)


def test_a_forecast_of_the_archive_says_the_same_each_time_it_is_asked(cell: WeatherCell):
    one, two = (archive_forecast("greensboro_nc", 0, ISSUED) for _ in range(2))
    later = archive_forecast("greensboro_nc", 0, ISSUED + dt.timedelta(hours=6))
    assert pack(one) == pack(two)
    same_hours = later.slice(ISSUED + dt.timedelta(days=4), ISSUED + dt.timedelta(days=5))
    assert not np.array_equal(
        one.slice(same_hours.start, same_hours.end).temp_air_c, same_hours.temp_air_c
    )  # a new issue has errors of its own


def test_hours_before_the_issue_are_what_the_archive_holds():
    forecast = archive_forecast("miami_fl", 30, ISSUED)
    truth = archive_truth("miami_fl", 30, forecast.start, ISSUED)
    past = forecast.slice(forecast.start, ISSUED)
    assert ISSUED - forecast.start == PAST
    for name in ("temp_air_c", "wind_m_s", "rain_mm"):
        np.testing.assert_array_equal(getattr(past, name), getattr(truth, name))


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ("archive:greensboro_nc", ("greensboro_nc", 0)),
        ("archive:greensboro_nc:-140", ("greensboro_nc", -140)),
        ("nws", None),
        ("open-meteo", None),
    ],
)
def test_a_source_says_whether_it_is_an_archive(source: str, found: tuple[str, int] | None):
    assert archive_of(source) == found


@given(latitude=st.floats(-89.9, 89.9), longitude=st.floats(-179.9, 179.9))
def test_a_site_lies_in_the_cell_around_it(latitude: float, longitude: float):
    _, cell_latitude, cell_longitude = cell_key(Site(latitude=latitude, longitude=longitude), "nws")
    assert abs(float(cell_latitude) - latitude) <= 0.025 + 1e-6
    assert abs(float(cell_longitude) - longitude) <= 0.025 + 1e-6


def test_the_firms_choice_decides_whether_bundled_weather_counts():
    site = Site(latitude=36.1, longitude=-79.8, archive="miami_fl:30")
    assert cell_key(site, "nws")[0] == "nws"
    assert cell_key(site, "archive")[0] == "archive:miami_fl:30"
    site.archive = ""
    assert cell_key(site, "archive")[0] == "archive:greensboro_nc"  # the nearest file


def test_neighbours_of_two_firms_share_one_cell(cast: Cast):
    mine, theirs = open_job(cast.own), open_job(cast.other, site={"latitude": 36.101, "longitude": -79.799})
    with acting_for(cast.own.contractor.pk):
        first = cell_open(mine.site, "archive")
        assert site_weather(mine.site, "archive") is None  # nothing was ever fetched
        cell_refresh(first, NOON)
    with acting_for(cast.other.contractor.pk):
        assert cell_open(theirs.site, "archive") == first
        assert not cell_refresh(first, NOON)
        found = site_weather(theirs.site, "archive")
        assert found is not None
        assert found.age_h(NOON) == pytest.approx(4 + 40 / 60)
