"""Learning the errors of forecasts: what was put into made forecasts must be found again."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from jobs.timeline.forecast_errors import ForecastErrors, PartErrors, by_lead, kept_and_left, recalibrated
from jobs.timeline.forecast_learning import KeptForecast, learned_errors
from jobs.timeline.rain_blocks import unit_ar1
from jobs.timeline.scenarios import weather_scenarios
from tests.timeline.band_cases import SITE, real, year

DAYS = 4
HOURS = 24 * DAYS


def kept(number: int = 150, error_c: float = 2.0, pop_shift: float = 0.0) -> list[KeptForecast]:
    """Forecasts of every day whose slow error of temperature and whose rain probability are known."""
    rng = np.random.default_rng(4)
    pairs = []
    for day in range(number):
        start = datetime(2024, 3, 1, 6, tzinfo=UTC) + timedelta(days=day)
        came = real(start, DAYS)
        wet = came.rain_mm.reshape(-1, 6).sum(axis=1) >= 0.1
        honest = np.where(rng.random(wet.size) < 0.5, wet, 0.12) * 0.9 + 0.02
        logit = np.log(honest / (1 - honest)) + pop_shift
        noise = error_c * unit_ar1(rng.standard_normal((1, HOURS)), 0.99)[0]
        said = came.with_fields(
            temp_air_c=came.temp_air_c + noise,
            dew_point_c=came.dew_point_c + noise,
            rain_probability=np.repeat(1 / (1 + np.exp(-logit)), 6),
        )
        pairs.append(KeptForecast(said, came))
    return pairs


def test_the_spread_of_the_errors_is_found_again() -> None:
    small, large = (learned_errors(kept(error_c=error), year(), DAYS) for error in (0.8, 2.4))
    assert small.learned_from == large.learned_from == 150
    assert small.temp.weighed
    assert np.mean(large.temp.day.sd) == pytest.approx(2.3, abs=0.35)
    assert np.mean(small.temp.day.sd) < 0.6 * np.mean(large.temp.day.sd)
    assert np.mean(large.temp.day.gain) == pytest.approx(1.0, abs=0.15)
    assert large.dew_with_temp > 0.7  # the same error was put on both


def test_a_probability_that_is_too_low_is_raised_again() -> None:
    honest, low = (learned_errors(kept(pop_shift=shift), year(), DAYS) for shift in (0.0, -1.5))
    none = {name: np.zeros(4) for name in ("temp", "dew", "cloud")}
    lead = np.full(4, 1.5)
    stated = np.full(4, 0.10)
    assert recalibrated(stated, lead, low, none)[1] > 2.0 * recalibrated(stated, lead, honest, none)[1]


def test_few_forecasts_change_little() -> None:
    few, many = (learned_errors(kept(number), year(), DAYS) for number in (2, 150))
    default = ForecastErrors()
    start = np.array(default.temp.day.sd[:DAYS])
    assert np.abs(np.array(few.temp.day.sd) - start).max() < np.abs(np.array(many.temp.day.sd) - start).max() + 0.2
    assert np.array(few.pop)[:, 1] == pytest.approx(1.0, abs=0.35)


def test_a_forecast_with_large_errors_is_drawn_to_the_climate_and_varies_as_much_as_the_season() -> None:
    part = PartErrors((3.0,), (1.0,))
    season, lead = np.full(5, 4.0), np.full(5, 2.0)
    keep, left = kept_and_left(part, season, lead, weighed=True)
    assert keep == pytest.approx(16 / 25)
    assert keep**2 * 25 + left**2 == pytest.approx(16.0)  # kept forecast and error together: the season's own variance
    whole, error = kept_and_left(part, season, lead, weighed=False)
    assert (whole == 1.0).all()
    assert (error == 3.0).all()
    assert (kept_and_left(part, np.full(5, 2.0), lead, weighed=False)[1] == 2.0).all()


def test_without_a_climate_nothing_is_drawn_to_it() -> None:
    keep, left = kept_and_left(PartErrors((3.0,)), np.full(3, np.inf), np.full(3, 1.0), weighed=True)
    assert keep == pytest.approx(1.0, abs=1e-4)
    assert left == pytest.approx(3.0, abs=1e-4)


def test_values_of_lead_days_belong_to_the_middle_of_the_day() -> None:
    assert by_lead((1.0, 3.0), np.array([0.1, 0.5, 1.0, 1.5, 9.0])).tolist() == [1.0, 1.0, 2.0, 3.0, 3.0]


def test_as_stated_means_as_stated() -> None:
    none = {name: np.array([5.0, -5.0]) for name in ("temp", "dew", "cloud")}
    assert recalibrated(np.array([0.2, 0.7]), np.array([1.0, 2.0]), ForecastErrors(), none) == pytest.approx([0.2, 0.7])


def test_learned_scenarios_scatter_about_the_truth_as_wide_as_they_err() -> None:
    """Spread over error of the daily mean temperature, forecasts not learned from: near one."""
    pairs = kept(200)
    errors = learned_errors(pairs[:150], year(), DAYS)
    spread, missed = [], []
    for number, pair in enumerate(pairs[150::5]):
        weather = weather_scenarios(
            pair.forecast, None, year(), SITE, pair.forecast.start, HOURS, 100, number, errors=errors
        )
        daily = weather.temp_air_c.reshape(100, DAYS, 24).mean(axis=2)
        spread.append(daily.var(axis=0))
        missed.append((daily.mean(axis=0) - pair.observed.temp_air_c.reshape(DAYS, 24).mean(axis=1)) ** 2)
    assert np.sqrt(np.mean(spread) / np.mean(missed)) == pytest.approx(1.0, abs=0.3)


def test_nothing_kept_or_a_pair_too_short_is_refused() -> None:
    with pytest.raises(ValueError, match="no forecast has been kept"):
        learned_errors([], year(), DAYS)
    pair = kept(1)[0]
    short = replace(pair, observed=pair.observed.slice(pair.observed.start, pair.observed.start + timedelta(hours=30)))
    with pytest.raises(ValueError, match="30 h; needed are 96 h each"):
        learned_errors([short], year(), DAYS)
