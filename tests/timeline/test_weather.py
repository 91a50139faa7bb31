"""Hourly weather refuses what cannot be weather, keeps gaps as gaps, and is cut and joined by instants."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import psychrolib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.timeline.weather import HourlyWeather, courses, joined, stacked
from jobs.timeline.weather_quantities import QUANTITIES

START = datetime(2026, 5, 12, 4, tzinfo=UTC)


def weather(hours: int = 6, **fields: object) -> HourlyWeather:
    given_fields: dict[str, object] = {
        "temp_air_c": np.arange(hours, dtype=float),
        "relative_humidity": np.full(hours, 0.5),
        "wind_m_s": np.full(hours, 3.0),
        "rain_mm": np.zeros(hours),
    }
    return HourlyWeather.of(START, **(given_fields | fields))  # type: ignore[arg-type]  # keywords of mixed kinds


@pytest.mark.parametrize("field", list(QUANTITIES))
@pytest.mark.parametrize("side", ["low", "high"])
def test_every_quantity_is_refused_just_outside_its_range_and_taken_at_its_edge(field: str, side: str) -> None:
    kind = QUANTITIES[field]
    edge = getattr(kind, side)
    beyond = edge + (1e-6 if side == "high" else -1e-6) * max(1.0, abs(edge))
    whole = weather()
    assert getattr(whole.with_fields(**{field: np.full(6, float(edge))}), field)[3] == edge
    wrong = np.full(6, float(edge))
    wrong[3] = beyond
    with pytest.raises(ValueError, match=rf"{kind.words} in the hour from 2026-05-12 07:00 UTC is .*allowed is"):
        whole.with_fields(**{field: wrong})


def test_the_impossible_wind_of_a_real_file_is_refused_by_field_and_hour() -> None:
    wind = np.array([3.0, 1048.36058 * 0.44704, 3.0])
    with pytest.raises(ValueError, match=r"wind at 10 m in the hour from 2026-05-12 05:00 UTC is 468.659 m/s"):
        weather(3, wind_m_s=wind)


def test_a_gap_stays_a_gap_and_is_told() -> None:
    rain = np.array([0.0, np.nan, np.nan, 0.0, 0.0, np.nan])
    gaps = weather(rain_mm=rain).gaps
    assert [(gap.field, gap.begins.hour, gap.hours) for gap in gaps] == [("rain_mm", 5, 2), ("rain_mm", 9, 1)]
    assert str(gaps[0]) == "rain in the hour is missing for 2 h from 2026-05-12 05:00 UTC"


def test_a_quantity_that_a_source_never_gives_is_absent_not_a_gap() -> None:
    whole = weather()
    assert "ghi_w_m2" in whole.absent
    assert whole.gaps == ()


def test_a_gap_in_one_scenario_is_a_gap() -> None:
    rain = np.zeros((3, 6))
    rain[1, 4] = np.nan
    assert [gap.hours for gap in weather(rain_mm=rain).gaps] == [1]


def test_a_start_without_a_zone_or_inside_an_hour_is_refused() -> None:
    with pytest.raises(ValueError, match="has no zone"):
        HourlyWeather.of(
            START.replace(tzinfo=None), temp_air_c=[1.0], relative_humidity=[0.5], wind_m_s=[1.0], rain_mm=[0]
        )
    with pytest.raises(ValueError, match="whole UTC hour"):
        HourlyWeather.of(
            START + timedelta(minutes=30), temp_air_c=[1.0], relative_humidity=[0.5], wind_m_s=[1.0], rain_mm=[0]
        )


def test_a_start_in_another_zone_is_the_same_instant() -> None:
    local = START.astimezone(ZoneInfo("America/New_York"))
    taken = HourlyWeather.of(local, temp_air_c=[1.0], relative_humidity=[0.5], wind_m_s=[1.0], rain_mm=[0])
    assert taken.start == START and taken.start.tzinfo is UTC


def test_arrays_of_unlike_length_are_refused_with_their_shapes() -> None:
    with pytest.raises(ValueError, match=r"rain_mm \(5,\)"):
        weather(rain_mm=np.zeros(5))


def test_weather_without_humidity_is_refused() -> None:
    with pytest.raises(ValueError, match="dew point or relative humidity is needed"):
        weather(relative_humidity=None)


def test_an_unknown_field_is_refused_by_name() -> None:
    with pytest.raises(TypeError, match="no field snow_mm"):
        weather(snow_mm=np.zeros(6))


@pytest.mark.parametrize(("temp", "humidity"), [(5, 0.9), (12, 0.75), (20, 0.5), (25, 0.6), (33, 0.45), (38, 0.3)])
def test_a_missing_dew_point_is_filled_as_ashrae_gives_it(temp: float, humidity: float) -> None:
    """ASHRAE Handbook Fundamentals 2017, chapter 1, by the library psychrolib; closed forms agree within 0.15 C."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    filled = weather(1, temp_air_c=[temp], relative_humidity=[humidity])
    assert float(filled.dew_point_c[0]) == pytest.approx(psychrolib.GetTDewPointFromRelHum(temp, humidity), abs=0.15)


@settings(deadline=None)
@given(temp=st.floats(-20, 38), humidity=st.floats(0.02, 1.0))
def test_dew_point_and_humidity_come_back_from_each_other(temp: float, humidity: float) -> None:
    there = weather(1, temp_air_c=[temp], relative_humidity=[humidity])
    assert there.dew_point_c[0] <= temp + 1e-9
    back = weather(1, temp_air_c=[temp], dew_point_c=there.dew_point_c, relative_humidity=None)
    assert float(back.relative_humidity[0]) == pytest.approx(humidity, abs=1e-6)


def test_values_between_hours_are_linear_and_totals_belong_to_their_hour() -> None:
    whole = weather(rain_mm=np.array([0, 2.0, 0, 0, 0, 0]))
    assert float(whole.at(START + timedelta(hours=2, minutes=30)).temp_air_c) == pytest.approx(1.5)
    assert float(whole.at(START + timedelta(hours=1, minutes=59)).rain_mm) == 2.0
    assert float(whole.at(START + timedelta(hours=2)).rain_mm) == 0.0


def test_an_instant_outside_is_refused_with_what_there_is() -> None:
    with pytest.raises(ValueError, match="there is weather from 2026-05-12 04:00 UTC to 2026-05-12 10:00 UTC"):
        weather().at(START - timedelta(seconds=1))
    with pytest.raises(ValueError, match="was asked for"):
        weather().slice(START, START + timedelta(hours=7))


def test_a_cut_takes_the_hours_it_touches_and_cuts_join_to_the_whole() -> None:
    whole = weather()
    middle = whole.slice(START + timedelta(minutes=90), START + timedelta(minutes=150))
    assert (middle.start, middle.hours) == (START + timedelta(hours=1), 2)
    parts = [whole.slice(START, START + timedelta(hours=2)), whole.slice(START + timedelta(hours=2), whole.end)]
    assert np.array_equal(joined(parts).temp_air_c, whole.temp_air_c)
    with pytest.raises(ValueError, match="goes on at"):
        joined(parts[::-1])


def test_courses_stack_to_scenarios_and_come_apart_again() -> None:
    one, other = weather(), weather(temp_air_c=np.full(6, 9.0))
    both = stacked([one, other])
    assert (both.scenarios, both.hours) == (2, 6)
    assert np.array_equal(courses(both)[1].temp_air_c, other.temp_air_c)
    assert courses(both) is courses(both)
    with pytest.raises(ValueError, match="scenario is 2; allowed is 0 to 1"):
        both.scenario(2)
    with pytest.raises(ValueError, match="same hours"):
        stacked([one, weather(5)])


def test_nobody_can_change_weather_in_place() -> None:
    with pytest.raises(ValueError, match="read-only"):
        weather().temp_air_c[0] = 5.0
