"""Prep hours, draining, and the words of the weather strip."""

from __future__ import annotations

from dataclasses import replace

import pytest

from jobs.physics.heat import heat_index_c
from jobs.timeline.limits import Limits
from jobs.timeline.stage_job import StageJob
from jobs.timeline.verdicts import day_verdicts
from jobs.timeline.weather import HourlyWeather, stacked
from jobs.timeline.work_hours import drain_hours, prep_blocked, prep_hours_by_day
from tests.timeline.steady import DAY, changed, limited, pool, steady

FINE = steady()
JOB = StageJob(pool(), prep_from_h=7, prep_to_h=16)  # nine hours


def hours(weather: HourlyWeather, job: StageJob = JOB) -> float:
    return prep_hours_by_day(job, weather, DAY, 1)[0].hours


def test_a_mild_day_leaves_all_hours() -> None:
    assert hours(FINE) == 9.0
    assert prep_hours_by_day(JOB, FINE, DAY, 1)[0].reasons == ()


@pytest.mark.parametrize(
    ("field", "open_value", "closed_value", "cause"),
    [
        ("rain_mm", 0.49, 0.5, "rain"),
        ("temp_air_c", -1.99, -2.0, "cold"),
        ("thunder_probability", 0.29, 0.30, "thunder"),
    ],
)
def test_an_hour_is_lost_from_the_limit_on(field: str, open_value: float, closed_value: float, cause: str) -> None:
    assert hours(changed(FINE, field, 9, open_value)) == 9.0
    lost = changed(FINE, field, 9, closed_value)
    assert hours(lost) == 8.0
    assert prep_hours_by_day(JOB, lost, DAY, 1)[0].reasons == (cause,)


def test_heat_halves_midday_and_rest_takes_an_eighth_of_the_other_hours() -> None:
    """Ruling of the firm's heat plan: 11 to 16 of 7 to 16 count half, four hours count 7/8 [CP]."""
    temp, humidity = 31.0, 0.5
    index = float(heat_index_c(temp, humidity))
    assert 32.2 < index < 39.4
    assert hours(steady(temp, humidity)) == pytest.approx(4 * 0.875 + 5 * 0.5)
    assert prep_hours_by_day(JOB, steady(temp, humidity), DAY, 1)[0].reasons == ("heat_high",)
    warm = steady(29.0, 0.5)
    index = float(heat_index_c(29.0, 0.5))
    assert index < 32.2 and hours(warm) == 9
    assert hours(warm, replace(JOB, plaster=pool(limits=limited(heat_high_c=index)))) < 9
    assert hours(warm, replace(JOB, plaster=pool(limits=limited(heat_high_c=index + 0.01)))) == 9


def test_nobody_chips_from_the_heat_stop_line_on() -> None:
    temp, humidity = 35.0, 0.6
    index = float(heat_index_c(temp, humidity))
    assert index > 39.4
    day = prep_hours_by_day(JOB, steady(temp, humidity), DAY, 1)[0]
    assert day.hours == 0.0 and "heat_stop" in day.reasons
    just_below = float(heat_index_c(31.0, 0.5)) + 0.01
    assert hours(steady(31.0, 0.5), replace(JOB, plaster=pool(limits=limited(heat_stop_c=just_below)))) > 0
    at_it = just_below - 0.01
    assert hours(steady(31.0, 0.5), replace(JOB, plaster=pool(limits=limited(heat_stop_c=at_it)))) == 0


def test_hours_to_count_on_are_those_of_four_scenarios_in_five() -> None:
    wet = changed(FINE, "rain_mm", 7, 2.0, 4)
    day = prep_hours_by_day(JOB, stacked([wet] * 2 + [FINE] * 8), DAY, 1)[0]
    assert (day.hours, day.mean_h) == (5.0, pytest.approx(8.2)) or day.hours == 9.0
    assert prep_hours_by_day(JOB, stacked([wet] * 3 + [FINE] * 7), DAY, 1)[0].hours == 5.0
    assert prep_hours_by_day(JOB, stacked([wet] + [FINE] * 9), DAY, 1)[0].hours == 9.0


def test_blocked_slots_are_those_that_most_scenarios_lose() -> None:
    wet = changed(FINE, "rain_mm", 9, 2.0, 2)
    assert prep_blocked(JOB, wet, DAY, 2) == ((18, 22),)
    assert prep_blocked(JOB, stacked([wet, wet, FINE]), DAY, 1) == ((18, 22),)
    assert prep_blocked(JOB, stacked([wet, FINE, FINE]), DAY, 1) == ()


def test_draining_takes_the_slower_of_pump_and_discharge_limit() -> None:
    pool_of_water = replace(JOB, drain_area_m2=40.0, drain_depth_m=1.5, pump_l_min=200.0)
    by_pump, planned = drain_hours(pool_of_water)
    assert by_pump > 60_000 / 200 / 60  # falling head: slower than the free flow
    assert planned == pytest.approx(1.25 * by_pump)
    limited_by_site = drain_hours(replace(pool_of_water, discharge_l_min=50.0))
    assert limited_by_site == (pytest.approx(20.0), pytest.approx(20.0))
    with pytest.raises(ValueError, match="no water to drain"):
        drain_hours(JOB)


def test_the_strip_says_can_doubtful_and_cannot_with_the_reason() -> None:
    wet = changed(FINE, "rain_mm", 6, 1.0, 14)

    def word(weather: HourlyWeather) -> tuple[str, str | None]:
        verdict = day_verdicts(JOB, weather, DAY, 1)[0]
        return verdict.word, verdict.reason.code if verdict.reason else None

    assert word(FINE) == ("can plaster", None)
    assert word(wet) == ("cannot plaster", "rain")
    assert word(stacked([wet] * 1 + [FINE] * 9)) == ("can plaster", None)
    assert word(stacked([wet] * 4 + [FINE] * 6)) == ("doubtful", "rain")
    assert word(stacked([wet] * 9 + [FINE] * 1)) == ("cannot plaster", "rain")
    assert word(changed(FINE, "rain_probability", 12, 0.40)) == ("doubtful", "rain_chance")
    assert word(changed(FINE, "rain_probability", 12, 0.39)) == ("can plaster", None)


def test_the_strip_shows_temperatures_rain_and_drying_against_its_stop_line() -> None:
    varied = changed(changed(FINE, "temp_air_c", 14, 27.0), "temp_air_c", 5, 11.0)
    verdict = day_verdicts(JOB, changed(varied, "rain_probability", 12, 0.25), DAY, 1)[0]
    assert (verdict.temp_min_c, verdict.temp_max_c, verdict.rain_chance) == (11.0, 27.0, 0.25)
    assert verdict.evaporation_stop_kg_m2_h == Limits().evaporation_stop_kg_m2_h
    assert 0 < verdict.evaporation_max_kg_m2_h < 1


def test_a_day_without_weather_cannot_be_plastered() -> None:
    verdict = day_verdicts(JOB, FINE, DAY, 9)[8]
    assert verdict.word == "cannot plaster"
    assert verdict.reason is not None and verdict.reason.code == "no_weather"
