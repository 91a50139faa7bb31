"""Forecasts in the form of the Open-Meteo server: single, ensemble, both spellings, all units."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.adapters.weather.forecast import FeedError
from jobs.adapters.weather.open_meteo import parse_forecast
from tests.adapters.test_nws_grid import json_values

# in the documented form of the server's answers; the numbers are invented
ANSWER: dict[str, Any] = {
    "latitude": 36.1,
    "longitude": -79.95,
    "utc_offset_seconds": 0,
    "timezone": "GMT",
    "hourly_units": {
        "time": "iso8601",
        "temperature_2m": "°C",
        "relative_humidity_2m": "%",
        "dew_point_2m": "°C",
        "precipitation": "mm",
        "precipitation_probability": "%",
        "wind_speed_10m": "km/h",
        "shortwave_radiation": "W/m²",
        "cloud_cover": "%",
        "surface_pressure": "hPa",
        "weather_code": "wmo code",
    },
    "hourly": {
        "time": ["2026-05-12T05:00", "2026-05-12T06:00", "2026-05-12T07:00"],
        "temperature_2m": [17.0, 18.5, 20],
        "relative_humidity_2m": [80, 70, 60],
        "dew_point_2m": [13.5, 13.0, None],
        "precipitation": [0.0, 1.2, 0.0],
        "precipitation_probability": [5, 60, 10],
        "wind_speed_10m": [7.2, 10.8, 14.4],
        "shortwave_radiation": [0, 55, 210],
        "cloud_cover": [100, 50, 0],
        "surface_pressure": [990.1, 990.0, 989.7],
        "weather_code": [3, 95, 1],
    },
}


def changed(change: Callable[[dict[str, Any]], object]) -> bytes:
    answer = copy.deepcopy(ANSWER)
    change(answer)
    return json.dumps(answer).encode()


def same(_: dict[str, Any]) -> None:
    return None


def test_a_stamp_ends_its_hour_and_units_become_ours() -> None:
    hours = parse_forecast(changed(same)).weather
    assert (hours.start, hours.hours) == (datetime(2026, 5, 12, 4, tzinfo=UTC), 3)
    assert hours.wind_m_s == pytest.approx([2, 3, 4])
    assert list(hours.rain_mm) == [0, 1.2, 0] and list(hours.ghi_w_m2) == [0, 55, 210]
    assert hours.rain_probability == pytest.approx([0.05, 0.6, 0.1])
    assert hours.cloud_cover == pytest.approx([1, 0.5, 0]) and hours.pressure_kpa[0] == pytest.approx(99.01)
    assert list(hours.thunder_probability) == [0, 0.5, 0]


def test_null_is_a_gap_that_humidity_may_fill() -> None:
    hours = parse_forecast(changed(same)).weather
    assert hours.dew_point_c[2] == pytest.approx(12.0, abs=0.1)  # from 20 C and 60 %
    gap = changed(lambda a: a["hourly"]["wind_speed_10m"].__setitem__(1, None))
    assert np.isnan(parse_forecast(gap).weather.wind_m_s[1])


def test_older_spellings_are_read() -> None:
    def older(answer: dict[str, Any]) -> None:
        for part in ("hourly", "hourly_units"):
            for new, old in (
                ("temperature_2m", "temperature_2m"),
                ("relative_humidity_2m", "relativehumidity_2m"),
                ("dew_point_2m", "dewpoint_2m"),
                ("wind_speed_10m", "windspeed_10m"),
                ("cloud_cover", "cloudcover"),
                ("weather_code", "weathercode"),
            ):
                answer[part][old] = answer[part].pop(new)

    old, new = parse_forecast(changed(older)).weather, parse_forecast(changed(same)).weather
    for field in ("temp_air_c", "dew_point_c", "relative_humidity", "wind_m_s", "cloud_cover", "thunder_probability"):
        assert np.array_equal(getattr(old, field), getattr(new, field))


@pytest.mark.parametrize(
    ("name", "unit", "factor"),
    [("wind_speed_10m", "m/s", 1.0), ("wind_speed_10m", "mp/h", 0.44704), ("wind_speed_10m", "kn", 0.514444)],
)
def test_wind_in_every_unit_the_server_offers(name: str, unit: str, factor: float) -> None:
    body = changed(lambda a: a["hourly_units"].update({name: unit}))
    assert parse_forecast(body).weather.wind_m_s[0] == pytest.approx(7.2 * factor, rel=1e-5)


def test_fahrenheit_and_inches() -> None:
    body = changed(lambda a: a["hourly_units"].update(temperature_2m="°F", precipitation="inch"))
    hours = parse_forecast(body).weather
    assert hours.temp_air_c[0] == pytest.approx((17 - 32) / 1.8) and hours.rain_mm[1] == pytest.approx(30.48)


def test_unix_times_and_times_of_a_zone_mean_the_same_hours() -> None:
    def unix(answer: dict[str, Any]) -> None:
        answer["hourly"]["time"] = [int(datetime(2026, 5, 12, hour, tzinfo=UTC).timestamp()) for hour in (5, 6, 7)]
        answer["hourly_units"]["time"] = "unixtime"

    def local(answer: dict[str, Any]) -> None:
        answer["hourly"]["time"] = ["2026-05-12T01:00", "2026-05-12T02:00", "2026-05-12T03:00"]
        answer["utc_offset_seconds"] = -4 * 3600

    starts = {parse_forecast(changed(change)).weather.start for change in (same, unix, local)}
    assert starts == {datetime(2026, 5, 12, 4, tzinfo=UTC)}


def test_members_of_an_ensemble_are_scenarios_beside_the_control_run() -> None:
    def ensemble(answer: dict[str, Any]) -> None:
        for number in (1, 2):
            for name in ("temperature_2m", "relative_humidity_2m", "precipitation", "wind_speed_10m"):
                member = f"{name}_member{number:02d}"
                answer["hourly_units"][member] = answer["hourly_units"][name]
                answer["hourly"][member] = [value + number for value in answer["hourly"][name]]

    forecast = parse_forecast(changed(ensemble))
    assert forecast.members is not None and (forecast.members.scenarios, forecast.members.hours) == (2, 3)
    assert forecast.members.temp_air_c[:, 0] == pytest.approx([18, 19])
    assert forecast.weather.scenarios is None


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (lambda a: a.update(error=True, reason="Latitude out of range"), "refuses: Latitude out of range"),
        (lambda a: a.pop("hourly"), "no hourly values"),
        (lambda a: a["hourly"].update(time=[]), "has 0 hours"),
        (lambda a: a["hourly"]["time"].__setitem__(1, "2026-05-12T07:00"), "does not follow .* ask for times in GMT"),
        (lambda a: a["hourly"]["time"].__setitem__(1, "dawn"), "time holds 'dawn'"),
        (lambda a: a.update(utc_offset_seconds=1800), "no whole hour"),
        (lambda a: a.update(utc_offset_seconds=None), "utc_offset_seconds is nan"),
        (lambda a: a["hourly"].update(time=["0001-01-01T00:00"]), "time lies in the year 1"),
        (lambda a: a["hourly"]["cloud_cover"].pop(), "cloud_cover has 2 values; there are 3 hours"),
        (lambda a: a["hourly_units"].update(temperature_2m="gas mark"), "temperature_2m is given in 'gas mark'"),
        (lambda a: a["hourly"].pop("temperature_2m"), "needs temperature, wind"),
        (
            lambda a: a["hourly"]["temperature_2m"].__setitem__(2, 99),
            "air temperature in the hour from 2026-05-12",
        ),
        (lambda a: a["hourly"]["temperature_2m"].__setitem__(2, "mild"), "temperature_2m holds mild"),
        (lambda a: a["hourly"]["temperature_2m"].__setitem__(2, 10**400), "which is not a number"),
    ],
)
def test_what_is_unclear_is_refused(change: Callable[[dict[str, Any]], object], sentence: str) -> None:
    with pytest.raises(FeedError, match=sentence):
        parse_forecast(changed(change))


@settings(deadline=None, max_examples=200)
@given(st.sampled_from(["hourly", "hourly_units"]), st.sampled_from([*ANSWER["hourly"]]), json_values)
def test_any_value_in_any_place_gives_hours_or_a_sentence_never_a_crash(part: str, name: str, value: object) -> None:
    try:
        parse_forecast(changed(lambda answer: answer[part].update({name: value})))
    except FeedError as error:
        assert str(error)


@settings(deadline=None, max_examples=100)
@given(st.sampled_from(["hourly", "hourly_units", "utc_offset_seconds", "error"]), json_values)
def test_any_value_at_the_top_gives_hours_or_a_sentence(name: str, value: object) -> None:
    try:
        parse_forecast(changed(lambda answer: answer.update({name: value})))
    except FeedError as error:
        assert str(error)
