"""The public grid forecast: layers over intervals become hours, and what is unclear is refused."""

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
from jobs.adapters.weather.nws import interval_of, parse_grid, parse_place


def at(hour: int, length: str = "PT1H") -> str:
    return f"2026-05-12T{hour:02d}:00:00+00:00/{length}"


def layer(uom: str | None, *values: tuple[str, Any]) -> dict[str, Any]:
    """A layer in the published form: unit, and values over intervals."""
    entries = [{"validTime": when, "value": value} for when, value in values]
    return {"values": entries} | ({"uom": uom} if uom else {})


# written by hand in the form documented for the public grid forecast; the numbers are invented
PROPERTIES: dict[str, Any] = {
    "updateTime": "2026-05-12T05:41:13+00:00",
    "validTimes": at(6, "PT12H"),
    "temperature": layer("wmoUnit:degC", (at(6, "PT2H"), 18.5), (at(8, "PT4H"), 21), (at(12, "PT6H"), 25.0)),
    "dewpoint": layer("wmoUnit:degC", (at(6, "PT12H"), 12.0)),
    "relativeHumidity": layer("wmoUnit:percent", (at(6, "PT12H"), 60)),
    "windSpeed": layer("wmoUnit:km_h-1", (at(6, "PT6H"), 18.0), (at(12, "PT6H"), 36.0)),
    "quantitativePrecipitation": layer("wmoUnit:mm", (at(6, "PT6H"), 0), (at(12, "PT3H"), 3.0)),
    "probabilityOfPrecipitation": layer("wmoUnit:percent", (at(6, "PT6H"), 5), (at(12, "PT6H"), 40)),
    "skyCover": layer("wmoUnit:percent", (at(6, "PT12H"), 70)),
    "weather": layer(
        None,
        (at(6, "PT6H"), [{"coverage": None, "weather": None}]),
        (at(12, "PT6H"), [{"coverage": "chance", "weather": "thunderstorms", "intensity": None}]),
    ),
}
GRID = json.dumps({"type": "Feature", "properties": PROPERTIES}).encode()


def changed(change: Callable[[dict[str, Any]], object]) -> bytes:
    properties = copy.deepcopy(PROPERTIES)
    change(properties)
    return json.dumps({"properties": properties}).encode()


def test_values_that_hold_are_repeated_and_amounts_are_divided() -> None:
    forecast = parse_grid(GRID)
    hours = forecast.weather
    assert (hours.start, hours.hours) == (datetime(2026, 5, 12, 6, tzinfo=UTC), 12)
    assert list(hours.temp_air_c) == [18.5, 18.5, 21, 21, 21, 21, 25, 25, 25, 25, 25, 25]
    assert hours.wind_m_s[[0, -1]] == pytest.approx([5.0, 10.0])
    assert list(hours.rain_mm[:9]) == [0, 0, 0, 0, 0, 0, 1, 1, 1]
    assert np.isnan(hours.rain_mm[9:]).all()  # amounts end before temperatures: a gap, not dry
    assert hours.rain_probability[[0, -1]] == pytest.approx([0.05, 0.40])
    assert hours.relative_humidity[3] == pytest.approx(0.6) and hours.cloud_cover[3] == pytest.approx(0.7)
    assert list(hours.thunder_probability) == [0.0] * 6 + [0.4] * 6
    assert forecast.issued_at == datetime(2026, 5, 12, 5, 41, 13, tzinfo=UTC)


def test_the_sum_of_an_amount_is_kept_whatever_its_intervals() -> None:
    hours = parse_grid(GRID).weather
    assert float(np.nansum(hours.rain_mm)) == pytest.approx(3.0)


@pytest.mark.parametrize("uom", ["wmoUnit:degC", "unit:degC", "uc:Cel", "degC"])
def test_only_what_follows_the_colon_of_a_unit_counts(uom: str) -> None:
    body = changed(lambda properties: properties["temperature"].update(uom=uom))
    assert parse_grid(body).weather.temp_air_c[0] == 18.5


def test_fahrenheit_and_knots_are_converted() -> None:
    def imperial(properties: dict[str, Any]) -> None:
        properties["temperature"] = layer("wmoUnit:degF", (at(6, "PT12H"), 73))
        properties["windSpeed"] = layer("unit:kt", (at(6, "PT12H"), 11))

    hours = parse_grid(changed(imperial)).weather
    assert hours.temp_air_c[0] == pytest.approx(22.7777778)
    assert hours.wind_m_s[0] == pytest.approx(20.372 / 3.6)


def test_null_is_a_gap() -> None:
    body = changed(lambda properties: properties["skyCover"]["values"][0].update(value=None))
    assert "cloud_cover" in parse_grid(body).weather.absent


def test_hours_without_a_temperature_at_the_ends_are_cut_off() -> None:
    def late(properties: dict[str, Any]) -> None:
        properties["temperature"]["values"][0]["value"] = None

    assert parse_grid(changed(late)).weather.start == datetime(2026, 5, 12, 8, tzinfo=UTC)


def test_a_stated_thunder_layer_stands_before_the_words() -> None:
    body = changed(lambda properties: properties.update(probabilityOfThunder=layer(None, (at(6, "PT12H"), 15))))
    assert set(parse_grid(body).weather.thunder_probability) == {0.15}


def test_humidity_alone_is_enough() -> None:
    hours = parse_grid(changed(lambda properties: properties.pop("dewpoint"))).weather
    assert np.isfinite(hours.dew_point_c).all()


@pytest.mark.parametrize(
    ("text", "begin", "hours"),
    [
        ("2019-07-04T18:00:00+00:00/PT3H", 18, 3),
        ("2022-02-04T01:00:00+00:00/P7DT14H", 1, 182),
        ("2022-02-04T01:00:00-05:00/P1DT6H", 6, 30),
        ("2022-02-04T01:00:00+00:00", 1, 1),
    ],
)
def test_intervals_in_days_and_hours(text: str, begin: int, hours: int) -> None:
    """ISO 8601 durations as the service writes them."""
    interval = interval_of(text, "temperature")
    assert (interval.begin.hour, interval.hours) == (begin, hours)


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (lambda p: p.pop("temperature"), "no layer temperature"),
        (lambda p: p.pop("windSpeed"), "no layer windSpeed"),
        (lambda p: (p.pop("dewpoint"), p.pop("relativeHumidity")), "neither dew point nor relative humidity"),
        (lambda p: p["temperature"].update(uom="wmoUnit:furlong"), "temperature is given in 'wmoUnit:furlong'"),
        (lambda p: p["temperature"].pop("uom"), "temperature is given in None"),
        (lambda p: p["windSpeed"].update(values="calm"), "windSpeed has no list of values"),
        (lambda p: p["windSpeed"]["values"][0].update(value="brisk"), "windSpeed holds brisk"),
        (lambda p: p["windSpeed"]["values"][0].update(value=True), "windSpeed holds True"),
        (lambda p: p["windSpeed"]["values"][1].update(value=1687.2), r"wind at 10 m in the hour from 2026-05-12 12:00"),
        (lambda p: p["skyCover"]["values"][0].update(value=140), "cloud cover in the hour from 2026-05-12 06:00"),
        (lambda p: p["skyCover"]["values"][0].update(validTime="soon"), "skyCover is 'soon', which is no time"),
        (lambda p: p["skyCover"]["values"][0].update(validTime="2026-05-12T06:00:00/PT1H"), "has no zone"),
        (lambda p: p["skyCover"]["values"][0].update(validTime=at(6, "PT90M")), "whole hours are needed"),
        (lambda p: p["skyCover"]["values"][0].update(validTime=at(6, "P1M")), "is not a duration"),
        (lambda p: p["temperature"]["values"][0].update(validTime=at(6, "P90D")), "whole hours are needed"),
        (lambda p: p.update(updateTime="yesterday"), "updateTime is 'yesterday'"),
        (lambda p: p["skyCover"]["values"][0].update(validTime="9999-12-31T23:00:00+00:00/PT9H"), "the year 9999"),
    ],
)
def test_what_is_unclear_is_refused_by_field_and_hour(
    change: Callable[[dict[str, Any]], object], sentence: str
) -> None:
    with pytest.raises(FeedError, match=sentence):
        parse_grid(changed(change))


@pytest.mark.parametrize(
    "body", [b"", b"[]", b'"x"', b"{", b"\xff\xfe", b'{"properties": {"temperature": NaN}}', b"[" * 100_000]
)
def test_what_is_no_json_object_is_refused(body: bytes) -> None:
    with pytest.raises(FeedError, match="the feed's answer is"):
        parse_grid(body)


def test_the_place_of_a_point_is_its_grid_address_and_zone() -> None:
    place = parse_place(b'{"properties": {"forecastGridData": "https://h/g", "timeZone": "America/New_York"}}')
    assert place == ("https://h/g", "America/New_York")
    with pytest.raises(FeedError, match="names no grid forecast"):
        parse_place(b'{"properties": {}}')


json_values = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**30), 10**30) | st.floats(allow_nan=False) | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=8,
)


@settings(deadline=None, max_examples=150)
@given(st.sampled_from([*PROPERTIES, "probabilityOfThunder", "pressure"]), json_values)
def test_any_value_in_any_place_gives_hours_or_a_sentence_never_a_crash(name: str, value: object) -> None:
    body = changed(lambda properties: properties.update({name: value}))
    try:
        parse_grid(body)
    except FeedError as error:
        assert str(error)


@settings(deadline=None, max_examples=150)
@given(st.sampled_from(["temperature", "windSpeed", "weather"]), st.sampled_from(["validTime", "value"]), json_values)
def test_any_value_inside_a_layer_gives_hours_or_a_sentence(name: str, key: str, value: object) -> None:
    body = changed(lambda properties: properties[name]["values"][0].update({key: value}))
    try:
        parse_grid(body)
    except FeedError as error:
        assert str(error)
