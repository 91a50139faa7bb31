"""The middle of an ensemble, and hours made whole from a year."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from jobs.timeline.ensemble import middle_of
from jobs.timeline.known_hours import known_hours
from jobs.timeline.scenarios import weather_scenarios
from jobs.timeline.weather import HourlyWeather, stacked
from tests.timeline.band_cases import SITE, real, weather_of, year

NOON = datetime(2024, 5, 13, 12, tzinfo=UTC)


def members(rain: list[float], temps: tuple[float, ...] = (10.0, 12.0, 14.0, 16.0)) -> HourlyWeather:
    """Four runs of 12 h from noon; *rain* falls in the third hour of each."""
    runs = []
    for temp, amount in zip(temps, rain, strict=True):
        wet = np.zeros(12)
        wet[2] = amount
        runs.append(weather_of(12, start=NOON, temp=temp, rain=wet))
    return stacked(runs)


def test_the_middle_is_the_mean_and_its_chance_of_rain_the_share_of_wet_members() -> None:
    middle = middle_of(members([0.0, 2.0, 0.1, 0.09]))
    assert np.allclose(middle.temp_air_c, 13.0)
    assert np.allclose(middle.rain_probability[:6], 0.5)  # 0.1 mm in the block counts, 0.09 mm does not
    assert np.allclose(middle.rain_probability[6:], 0.0)
    assert middle.rain_mm[2] == pytest.approx((2.0 + 0.1 + 0.09) / 4)


def test_a_members_gap_leaves_the_others() -> None:
    runs = members([0.0, 2.0, 2.0, 2.0])
    temp, rain = runs.temp_air_c.copy(), runs.rain_mm.copy()
    temp[0, 3] = np.nan
    rain[0] = np.nan
    temp[:, 7] = np.nan
    middle = middle_of(runs.with_fields(temp_air_c=temp, rain_mm=rain))
    assert middle.temp_air_c[3] == pytest.approx(14.0)
    assert np.isnan(middle.temp_air_c[7])
    assert middle.rain_probability[0] == 1.0


def test_hours_that_no_source_knows_are_the_years() -> None:
    begin = datetime(2001, 5, 13, 4, tzinfo=UTC)
    known = real(begin, 3)
    rain = known.rain_mm.copy()
    rain[5:9] = np.nan
    known = known.with_fields(rain_mm=rain, temp_air_c=known.temp_air_c + 5.0)
    past = year()
    made = known_hours(known, past, begin - timedelta(hours=6), begin + timedelta(hours=30))
    assert (made.start, made.hours) == (begin - timedelta(hours=6), 36)
    usual = past.slice(made.start, made.end)
    assert np.array_equal(made.temp_air_c[:6], usual.temp_air_c[:6])
    assert np.allclose(made.temp_air_c[6:], known.temp_air_c[:30])
    assert np.array_equal(made.rain_mm[11:15], usual.rain_mm[11:15])
    assert np.isnan(made.rain_probability[:6]).all()  # a chance is never taken from a year
    assert not made.gaps or all(gap.field not in ("temp_air_c", "rain_mm", "wind_m_s") for gap in made.gaps)


def test_rain_amounts_that_end_early_count_as_unknown_and_the_chance_of_rain_decides() -> None:
    """Public grids state amounts for three days and chances for seven: hours without an amount are not dry ones."""
    issue = datetime(2024, 5, 13, 4, tzinfo=UTC)
    truth = real(issue, 7)
    amounts = truth.rain_mm.copy()
    amounts[72:] = np.nan

    def wet_share(chance: float, rain: np.ndarray) -> np.ndarray:
        said = truth.with_fields(rain_mm=rain, rain_probability=np.full(168, chance))
        drawn = weather_scenarios(said, None, year(), SITE, issue, 24 * 12, 400, 3)
        assert np.isfinite(drawn.rain_mm).all()
        blocks = drawn.rain_mm[:, 2:158].reshape(400, -1, 6).sum(axis=2)  # whole blocks of 06-12 UTC and so on
        return np.asarray((blocks >= 0.1).mean(axis=0))

    late = slice(13, None)
    assert wet_share(0.7, amounts)[late] == pytest.approx(0.7, abs=0.08)
    assert wet_share(0.1, amounts)[late] == pytest.approx(0.1, abs=0.06)
    assert np.array_equal(wet_share(0.7, amounts), wet_share(0.7, truth.rain_mm))
    assert np.array_equal(wet_share(0.7, amounts), wet_share(0.7, np.zeros(168)))  # a stated 0 mm is no promise either


def test_without_a_stated_chance_the_season_decides() -> None:
    issue = datetime(2024, 5, 13, 4, tzinfo=UTC)
    said = real(issue, 7).with_fields(rain_mm=np.full(168, np.nan))
    drawn = weather_scenarios(said, None, year(), SITE, issue, 24 * 12, 600, 3)
    alone = weather_scenarios(None, None, year(), SITE, issue, 24 * 12, 600, 3)
    share, usual = ((each.rain_mm[:, :168] > 0).mean() for each in (drawn, alone))
    assert share == pytest.approx(usual, abs=0.02)
