"""Weather scenarios: reproducible, true to the climate, honest about a forecast's errors."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_normal, norm

from jobs.timeline.climate import Climate
from jobs.timeline.forecast_errors import ForecastErrors, temp_errors
from jobs.timeline.rain_blocks import (
    any_wet,
    block_probability,
    both_wet,
    rain_blocks,
    six_hour_probability,
    wet_blocks,
)
from jobs.timeline.scenarios import ScenarioSite, weather_scenarios
from jobs.timeline.weather import HourlyWeather, stacked
from jobs.timeline.weather_quantities import QUANTITIES
from tests.timeline.band_cases import SITE, real, year

ISSUE = datetime(2024, 5, 13, 4, tzinfo=UTC)
HOURS = 24 * 20


def forecast(pop: float = 0.2, days: int = 7) -> HourlyWeather:
    truth = real(ISSUE, days)
    return truth.with_fields(rain_probability=np.full(truth.hours, pop))


def drawn(seed: int = 1, count: int = 60, near: HourlyWeather | None = None, **changes: object) -> HourlyWeather:
    return weather_scenarios(near, None, year(), SITE, ISSUE, HOURS, count, seed, **changes)  # type: ignore[arg-type]  # keywords of mixed kinds


def test_the_same_inputs_and_seed_give_the_same_weather() -> None:
    first, again = drawn(near=forecast()), drawn(near=forecast())
    for name in QUANTITIES:
        assert np.array_equal(getattr(first, name), getattr(again, name), equal_nan=True)
    other = drawn(seed=2, near=forecast())
    assert not np.array_equal(first.temp_air_c, other.temp_air_c)


def test_a_change_of_rain_probability_leaves_the_other_draws_alone() -> None:
    wet, dry = drawn(near=forecast(0.9)), drawn(near=forecast(0.1))
    assert np.array_equal(wet.temp_air_c, dry.temp_air_c)
    assert np.array_equal(wet.wind_m_s, dry.wind_m_s)
    assert np.array_equal(wet.rain_mm[:, 24 * 8 :], dry.rain_mm[:, 24 * 8 :])
    assert wet.rain_mm[:, : 24 * 7].sum() > 3 * dry.rain_mm[:, : 24 * 7].sum()


def test_scenarios_begin_at_the_issue_and_last_as_long_as_asked() -> None:
    weather = weather_scenarios(None, None, year(), SITE, ISSUE + timedelta(minutes=25), 100, 3, 1)
    assert (weather.start, weather.hours, weather.scenarios) == (ISSUE, 100, 3)


def test_climate_days_are_whole_real_days_of_the_same_season() -> None:
    """Rain, which is not shifted, must be found in the past at the same hour of the day within 28 days."""
    weather = drawn(count=8)
    past = year().rain_mm
    climate = Climate.of(year(), ISSUE)
    for scenario in range(8):
        for block in range(HOURS // 120):
            mine = weather.rain_mm[scenario, 120 * block : 120 * block + 120]
            begins = [(climate.position + 120 * block + 24 * move) % 8760 for move in range(-28, 29)]
            assert any(np.array_equal(mine, np.take(past, np.arange(b, b + 120), mode="wrap")) for b in begins)


def test_days_that_are_the_truth_of_a_back_test_are_not_drawn() -> None:
    climate = Climate.of(year(), ISSUE)
    donor, target = climate.donor_hours(HOURS, 500, np.random.default_rng(1), 4)
    away = np.abs((donor - target + 4380) % 8760 - 4380)
    assert away.min() >= 5 * 24
    assert away.max() == 28 * 24


def test_temperature_follows_the_season_of_its_date() -> None:
    january = weather_scenarios(None, None, year(), SITE, datetime(2024, 1, 15, 5, tzinfo=UTC), 240, 400, 1)
    spring = weather_scenarios(None, None, year(), SITE, datetime(2024, 4, 15, 4, tzinfo=UTC), 240, 400, 1)
    monthly = year().temp_air_c.reshape(365, 24).mean(axis=1)
    assert january.temp_air_c.mean() == pytest.approx(monthly[:45].mean(), abs=1.5)
    assert spring.temp_air_c.mean() == pytest.approx(monthly[90:125].mean(), abs=1.5)


def test_unlearned_scenarios_lie_around_the_forecast_and_spread_with_lead() -> None:
    near = forecast()
    weather = drawn(count=2000, near=near)
    off = weather.temp_air_c[:, :168] - near.temp_air_c
    assert np.abs(off.mean(axis=0)).max() < 0.25
    spread = off.std(axis=0)
    assert spread[:24].mean() == pytest.approx(0.8 * 1.6, rel=0.05)
    assert spread[144:].mean() == pytest.approx(0.8 * (1.6 + 0.35 * 5.5), rel=0.05)


def test_errors_never_spread_wider_than_the_season() -> None:
    weather = drawn(count=1500, near=forecast(), errors=ForecastErrors(temp=temp_errors(20.0)))
    season = Climate.of(year(), ISSUE).usual(168)["temp"].spread_day
    assert (weather.temp_air_c[:, :168].std(axis=0) < 1.08 * season).all()


def test_the_forecast_ends_and_the_climate_goes_on() -> None:
    near, alone = drawn(near=forecast()), drawn()
    assert np.array_equal(near.temp_air_c[:, 168:], alone.temp_air_c[:, 168:])
    assert not np.array_equal(near.temp_air_c[:, :168], alone.temp_air_c[:, :168])


def test_a_forecast_that_has_run_out_counts_as_none() -> None:
    old = real(ISSUE - timedelta(days=9), 8).with_fields(rain_probability=np.zeros(24 * 8))
    assert np.array_equal(drawn(near=old).temp_air_c, drawn().temp_air_c)


def test_a_forecast_that_began_before_the_issue_is_read_from_the_issue_on() -> None:
    early = real(ISSUE - timedelta(hours=7), 8)
    early = early.with_fields(rain_probability=np.full(early.hours, 0.2))
    inside = early.slice(ISSUE, early.end)
    assert np.array_equal(drawn(near=early).temp_air_c, drawn(near=inside).temp_air_c)


def test_hours_that_a_forecast_leaves_open_keep_the_climate() -> None:
    near = forecast()
    temp = near.temp_air_c.copy()
    temp[30:40] = np.nan
    weather = drawn(near=near.with_fields(temp_air_c=temp))
    assert np.array_equal(weather.temp_air_c[:, 30:40], drawn().temp_air_c[:, 30:40])
    assert np.isfinite(weather.temp_air_c).all()


def test_dew_point_never_lies_above_the_air() -> None:
    weather = drawn(count=300, near=forecast())
    assert (weather.dew_point_c[:, :168] <= weather.temp_air_c[:, :168] + 1e-9).all()
    assert (weather.relative_humidity <= 1.0).all()


def test_members_are_used_as_they_are_and_cycled() -> None:
    members = stacked([forecast().with_fields(temp_air_c=np.full(168, float(number))) for number in range(3)])
    weather = weather_scenarios(None, members, year(), SITE, ISSUE, HOURS, 7, 1)
    assert weather.temp_air_c[:, 0].tolist() == [0, 1, 2, 0, 1, 2, 0]
    wider = weather_scenarios(
        None, members, year(), SITE, ISSUE, HOURS, 300, 1, errors=ForecastErrors(member_temp_scale=1.0)
    )
    assert wider.temp_air_c[:, 12].std() == pytest.approx(np.hypot(0.8165, 1.6), rel=0.08)


def test_a_site_far_from_its_station_has_an_offset_of_its_own() -> None:
    near, far = (
        drawn(count=300),
        weather_scenarios(None, None, year(), ScenarioSite(SITE.zone, 25.0), ISSUE, 480, 300, 1),
    )
    offset = far.temp_air_c - near.temp_air_c
    assert np.ptp(offset, axis=1).max() < 1e-9
    assert offset[:, 0].std() == pytest.approx(1.0, abs=0.1)


def test_without_any_source_for_the_horizon_it_says_what_is_missing() -> None:
    with pytest.raises(ValueError, match="weather is known for 168 h of the 480 h asked for; a climatology is needed"):
        weather_scenarios(forecast(), None, None, SITE, ISSUE, HOURS, 5, 1)
    with pytest.raises(ValueError, match="weather is known for 0 h"):
        weather_scenarios(None, None, None, SITE, ISSUE, HOURS, 5, 1)
    alone = weather_scenarios(forecast(), None, None, SITE, ISSUE, 168, 5, 1)
    assert alone.hours == 168


@pytest.mark.parametrize(("count", "horizon"), [(0, 48), (10, 0), (9000, 48), (10, 10_000)])
def test_numbers_out_of_range_are_refused(count: int, horizon: int) -> None:
    with pytest.raises(ValueError, match="allowed is"):
        weather_scenarios(None, None, year(), SITE, ISSUE, horizon, count, 1)


def test_a_past_of_less_than_a_year_or_with_gaps_is_refused() -> None:
    with pytest.raises(ValueError, match="a year"):
        weather_scenarios(None, None, real(ISSUE, 100), SITE, ISSUE, 48, 5, 1)
    temp = year().temp_air_c.copy()
    temp[100:103] = np.nan
    with pytest.raises(ValueError, match="climatology has no temp_air_c in 3 h"):
        weather_scenarios(None, None, year().with_fields(temp_air_c=temp), SITE, ISSUE, 48, 5, 1)


def test_wet_blocks_come_as_often_as_stated_and_together() -> None:
    pop = np.array([0.3, 0.3, 0.7, 0.05, 0.95])
    wet = wet_blocks(pop, 0.55, 40_000, np.random.default_rng(2))
    assert np.abs(wet.mean(axis=0) - pop).max() < 0.01
    assert (wet[:, 0] | wet[:, 1]).mean() == pytest.approx(any_wet([0.3, 0.3]), abs=0.01)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.floats(0.02, 0.98), min_size=2, max_size=3), st.floats(-0.8, 0.9))
def test_any_wet_agrees_with_an_independent_multivariate_normal(pop: list[float], correlation: float) -> None:
    steps = np.arange(len(pop))
    covariance = correlation ** np.abs(np.subtract.outer(steps, steps))
    dry = multivariate_normal(np.zeros(len(pop)), covariance).cdf(-norm.ppf(pop))
    assert any_wet(pop, correlation) == pytest.approx(1.0 - dry, abs=3e-4)
    if len(pop) == 2:
        assert float(both_wet(np.array(pop[0]), np.array(pop[1]), correlation)) == pytest.approx(
            sum(pop) - (1.0 - dry), abs=5e-3
        )


@pytest.mark.parametrize("pop", [0.05, 0.3, 0.6, 0.9])
def test_half_of_a_twelve_hour_probability_gives_it_back(pop: float) -> None:
    half = float(six_hour_probability(pop))
    assert any_wet([half, half]) == pytest.approx(pop, abs=0.002)
    assert half > 1.0 - np.sqrt(1.0 - pop)  # the halves are correlated


def test_probabilities_of_other_periods_are_brought_to_six_hours() -> None:
    block = np.repeat([0, 1], 6)
    hourly = np.array([0.1] * 6 + [0.0, 0.5, 0.0, 0.0, 0.0, np.nan])
    assert block_probability(hourly, block, 6).tolist() == [0.1, 0.5]
    assert block_probability(hourly, block, 1)[1] == 0.5
    assert block_probability(hourly, block, 1)[0] == pytest.approx(1 - 0.9**3)
    assert block_probability(hourly, block, 12)[0] == pytest.approx(float(six_hour_probability(0.1)))
    assert np.isnan(block_probability(np.full(12, np.nan), block, 6)).all()
    with pytest.raises(ValueError, match="period of the rain probability is 3 h"):
        block_probability(hourly, block, 3)


def test_rain_of_wet_blocks_is_rain_that_fell() -> None:
    donors = np.array([[0.0, 1.0, 0.0, 0.0, 0.0, 0.0], [2.0, 2.0, 0.0, 0.0, 0.0, 0.0]])
    rain = rain_blocks(np.array([0.5, 0.5]), 6, 0.55, donors, np.random.default_rng(1), count=50)
    blocks = rain.reshape(-1, 6)
    assert all(block.sum() == 0 or any(np.array_equal(block, donor) for donor in donors) for block in blocks)
    with pytest.raises(ValueError, match="donors have shape"):
        rain_blocks(np.array([0.5]), 6, 0.55, np.zeros((0, 6)), np.random.default_rng(1))


def test_the_share_of_allowed_hours_stays_near_that_of_the_climate() -> None:
    """Cold hours of April: no month may drift from the station's own share by more than three points."""
    issue = datetime(2024, 4, 2, 4, tzinfo=UTC)
    weather = weather_scenarios(None, None, year(), SITE, issue, 24 * 28, 300, 5)
    april = real(datetime(2023, 3, 18, 4, tzinfo=UTC), 58)
    assert (weather.temp_air_c < 4.4).mean() == pytest.approx((april.temp_air_c < 4.4).mean(), abs=0.03)


def test_leap_days_have_weather_too() -> None:
    leap = weather_scenarios(None, None, year(), SITE, datetime(2024, 2, 29, 5, tzinfo=UTC), 72, 4, 1)
    assert np.isfinite(leap.temp_air_c).all()
    assert date(2024, 2, 29).isoformat() == "2024-02-29"
