"""Forecasts of a cell are kept with what came, and teach how wrong the source is there."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from jobs.adapters.archive import archive_forecast
from jobs.models import WeatherCell
from jobs.selectors.weather import errors_before, errors_of
from jobs.services.forecasts_kept import LEAST_LEARNED_FROM, came_note, errors_learn, forecast_note
from jobs.services.weather_hours import cell_refresh, forecast_keep
from jobs.tasks import cell_errors_task
from jobs.timeline.errors_json import errors_as_json
from jobs.timeline.forecast_errors import ForecastErrors
from jobs.timeline.weather import stacked
from shared import clock

START = dt.datetime(2026, 4, 1, 6, tzinfo=dt.UTC)
DAY, HOUR = dt.timedelta(days=1), dt.timedelta(hours=1)


@pytest.fixture
def cell(db: None) -> WeatherCell:
    return WeatherCell.objects.create(source="nws", latitude="36.10", longitude="-79.80")


def keep(cell: WeatherCell, issued_at: dt.datetime, days: int = 10) -> None:
    weather = archive_forecast("greensboro_nc", 0, issued_at)
    first = weather.slice(issued_at, issued_at + days * DAY)
    forecast_keep(cell, first, issued_at=issued_at, at=issued_at, validators={})


def test_one_forecast_a_day_is_kept_the_latest_before_six(cell: WeatherCell):
    for hours in (-20, -6, -1, 0, 3):
        keep(cell, START + hours * HOUR)
    rows = list(cell.forecasts_kept.order_by("starts"))
    assert [row.starts for row in rows] == [START, START + DAY]
    assert [row.issued_at for row in rows] == [START, START + 3 * HOUR]
    assert [row.count for row in rows] == [168, 168]


@pytest.mark.parametrize(("days", "kept"), [(3, 0), (4, 72), (7, 144), (10, 168)])
def test_whole_days_are_kept_as_far_as_they_go(cell: WeatherCell, days: int, kept: int):
    """From 18 UTC on the first 12 h are not compared."""
    keep(cell, START - 12 * HOUR, days)
    assert [row.count for row in cell.forecasts_kept.all()] == ([kept] if kept else [])


def test_what_came_is_put_beside_once_all_hours_are_over(cell: WeatherCell):
    keep(cell, START)
    for number in range(1, 29):
        keep(cell, START + number * 6 * HOUR)
        came_note(cell)
        row = cell.forecasts_kept.get(starts=START)
        assert (row.came is None) == (number < 28)  # 7 days are 28 issues


def test_fewer_than_sixty_teach_nothing_and_sixty_do(cell: WeatherCell):
    for number in range(LEAST_LEARNED_FROM + 7):
        at = START + number * DAY
        keep(cell, at)
        came_note(cell)
    assert errors_learn(cell, at) == LEAST_LEARNED_FROM
    learned = errors_of(cell)
    assert learned.learned_from == LEAST_LEARNED_FROM
    assert learned.temp.weighed
    cell.errors = None
    cell.save()
    cell.forecasts_kept.filter(starts=START + 3 * DAY).delete()
    assert errors_learn(cell, at) == LEAST_LEARNED_FROM - 1
    assert cell.errors is None
    assert errors_of(cell) == ForecastErrors()


def test_an_hour_that_nobody_knows_leaves_its_forecasts_out(cell: WeatherCell):
    keep(cell, START)
    for number in range(1, 29):
        keep(cell, START + number * 6 * HOUR)
    came_note(cell)
    assert errors_learn(cell, START + 8 * DAY) == 1
    late = WeatherCell.objects.create(source="nws", latitude="36.20", longitude="-79.80")
    weather = archive_forecast("greensboro_nc", 0, START)
    rain = weather.rain_mm.copy()
    rain[np.arange(rain.size) >= weather.position(START) + 72] = np.nan  # amounts for three days only, then silence
    quiet = weather.with_fields(rain_mm=rain)
    forecast_keep(late, quiet, issued_at=START, at=START, validators={})
    keep(late, START + 8 * DAY)
    assert came_note(late) == 1
    assert errors_learn(late, START + 8 * DAY) == 0


def test_a_new_place_takes_what_was_learned_nearby_from_the_same_source(cell: WeatherCell):
    cell.errors = _plain(member_temp_scale=0.7)
    cell.save()
    near = WeatherCell.objects.create(source="nws", latitude="36.60", longitude="-79.80")
    far = WeatherCell.objects.create(source="nws", latitude="38.60", longitude="-79.80")
    other = WeatherCell.objects.create(source="open-meteo", latitude="36.10", longitude="-79.80")
    assert errors_of(near).member_temp_scale == 0.7
    assert errors_of(far) == ForecastErrors()
    assert errors_of(other) == errors_before("open-meteo")
    assert errors_of(other).pop_period_h == 1  # that source states its chance for single hours


def _plain(**changes: float) -> dict[str, object]:
    return errors_as_json(ForecastErrors(**changes))  # type: ignore[arg-type]  # keywords of mixed kinds


def test_bundled_weather_has_errors_of_its_own_forecasts(db: None):
    bundled = WeatherCell.objects.create(source="archive:greensboro_nc:12", latitude="36.10", longitude="-79.80")
    assert errors_of(bundled).learned_from > 60
    assert cell_refresh(bundled, START)
    assert bundled.forecasts_kept.count() == 1


def test_the_spread_of_members_is_kept_and_the_daily_task_learns(cell: WeatherCell):
    weather = archive_forecast("greensboro_nc", 0, START)
    ahead = weather.slice(START, START + 8 * DAY)
    runs = stacked([ahead.with_fields(temp_air_c=ahead.temp_air_c + move) for move in (0.0, 1.0, 2.0)])
    assert forecast_note(cell, ahead, issued_at=START, members=runs) is not None
    with clock.clock_at(START + 20 * DAY):
        cell_errors_task.run(str(cell.pk))
    cell.refresh_from_db()
    assert cell.errors is None  # one forecast teaches nothing
