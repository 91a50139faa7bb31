"""The fill band: quantiles of whole days, dates, production times, what moved it and what carries its risk."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from jobs.timeline.air_rules import Cause
from jobs.timeline.band_reasons import band_health, band_moved, risk_reasons
from jobs.timeline.fill_band import band, fill_days, mean_over_median, production_draws_h
from jobs.timeline.scenarios import weather_scenarios
from jobs.timeline.slipping import SlipJob, slips
from tests.timeline.band_cases import MONDAY, SITE, midnight, rain_on, room_of, weather_of, year

SAMPLE = np.repeat([10, 11, 13, 16], [120, 40, 25, 15])
days_of_scenarios = arrays(np.int64, st.integers(1, 60), elements=st.integers(0, 60))


def test_a_band_states_dates_with_their_chances() -> None:
    found = band(SAMPLE, first_date=MONDAY, seed=7, source="climate")
    assert (found.p10, found.p50, found.p80, found.p90) == (10, 10, 11, 13)
    assert found.probability_by_date == ((10, 0.6), (11, 0.8), (13, 0.925), (16, 1.0))
    assert found.date_of(found.p90) == date(2024, 5, 26)
    assert found.share_by(12) == 0.8
    assert found.share_by(9) == 0.0
    assert (found.share_later, found.seed, found.source) == (0.0, 7, "climate")


def test_later_counts_beyond_every_quantile_and_is_never_dropped() -> None:
    found = band(np.repeat([10, 46, 99], [85, 5, 10]))
    assert found.share_later == 0.15
    assert found.p80 == 10
    assert found.p90 == 46
    assert found.is_later(found.p90)
    assert found.date_of(found.p90) is None
    assert found.probability_by_date == ((10, 0.85),)


@given(days_of_scenarios)
def test_quantiles_are_ordered_and_shares_grow(days: np.ndarray) -> None:
    found = band(days)
    assert found.p10 <= found.p50 <= found.p80 <= found.p90 <= 46
    shares = [share for _, share in found.probability_by_date]
    assert shares == sorted(shares)
    assert (shares[-1] if shares else 0.0) + found.share_later == pytest.approx(1.0)


def test_a_band_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="one scenario or more"):
        band([])


def test_the_same_seed_gives_the_same_dates_and_another_seed_nearly_the_same() -> None:
    def dates(seed: int) -> np.ndarray:
        weather = weather_scenarios(None, None, year(), SITE, midnight(), 24 * 47, 200, seed)
        return fill_days(weather, SlipJob(), room_of(45), production_draws_h(20.0, 200, seed))

    assert np.array_equal(dates(5), dates(5))
    first, other = band(dates(5)), band(dates(6))
    assert abs(first.p50 - other.p50) <= 1
    assert abs(first.p90 - other.p90) <= 3


def test_production_times_have_the_mean_and_spread_that_are_stated() -> None:
    hours = production_draws_h(20.0, 4000, 3, cv=0.25, extra_day_chance=0.0)
    assert hours.mean() == pytest.approx(20.0, rel=0.01)
    assert hours.std() == pytest.approx(5.0, rel=0.03)
    extra = production_draws_h(20.0, 4000, 3, extra_day_chance=0.06)
    assert extra.mean() == pytest.approx(20.0 + 0.06 * 8.0, rel=0.02)
    assert (production_draws_h(0.0, 50, 1) == 0.0).all()
    assert np.array_equal(production_draws_h(20.0, 50, 1), production_draws_h(20.0, 50, 1))


@pytest.mark.parametrize("estimate", [-1.0, float("nan")])
def test_an_estimate_that_is_no_time_is_refused(estimate: float) -> None:
    with pytest.raises(ValueError, match="estimate of prep hours"):
        production_draws_h(estimate, 10, 1)


def test_the_risk_is_named_by_what_makes_late_scenarios_late() -> None:
    hours = 24 * 24
    rain = np.stack([rain_on(hours, *range(2, 2 + wet)) for wet in (0, 0, 0, 0, 3, 4)])
    result = slips(weather_of(hours, rain=rain), SlipJob(), room_of(), 0.0)
    first, second, third = risk_reasons(result)
    assert (first.stage, first.cause, first.days) == ("plaster", Cause.RAIN, 3.5)
    assert first.share == pytest.approx(0.7)
    # four wet days outlast the bond coat in one of the two late scenarios: a second one, and its cure again
    assert (second.stage, second.cause, second.days) == ("plaster", Cause.CURE, 1.0)
    assert (third.stage, third.cause, third.days) == ("bond", Cause.RECOAT, 0.5)


def test_work_that_takes_longer_is_a_risk_of_prep() -> None:
    result = slips(weather_of(24 * 24, rain=np.zeros((4, 1))), SlipJob(), room_of(), np.array([7.0, 8.0, 15.0, 39.0]))
    assert (risk_reasons(result)[0].stage, risk_reasons(result)[0].cause) == ("prep", Cause.WORK)


def test_a_band_without_width_has_no_risk_to_name() -> None:
    assert risk_reasons(slips(weather_of(24 * 24), SlipJob(), room_of(), 0.0)) == ()


def test_a_band_is_compared_by_date_not_by_day_number() -> None:
    before = band(SAMPLE, first_date=MONDAY)
    after = band(SAMPLE, first_date=date(2024, 5, 14))
    move = band_moved(before, after, promised=date(2024, 5, 24))
    assert (move.p50_days, move.p80_days, move.p90_days) == (1, 1, 1)
    assert (move.chance_before, move.chance_after) == (0.8, 0.6)
    late = band(np.full(10, 46), first_date=MONDAY)
    assert band_moved(before, late).p50_days is None
    assert band_moved(before, late).share_later_change == 1.0
    with pytest.raises(ValueError, match="no first date"):
        band_moved(before, replace(after, first_date=None))


def test_bands_hold_until_enough_jobs_say_otherwise() -> None:
    rng = np.random.default_rng(1)
    assert band_health(rng.random(40)) == "too few"
    assert band_health(rng.random(400)) == "holds"
    assert band_health(rng.beta(2.0, 1.0, 100)) == "bands are early"
    assert band_health(rng.beta(1.0, 2.0, 100)) == "bands are late"


@pytest.mark.parametrize("cv", [0.05, 0.2, 0.6])
def test_the_mean_of_a_lognormal_lies_above_its_median_by_the_stated_factor(cv: float) -> None:
    drawn = production_draws_h(10.0, 40_000, 3, cv=cv, extra_day_chance=0.0)
    assert drawn.mean() == pytest.approx(10.0, rel=0.01)
    assert drawn.mean() / np.median(drawn) == pytest.approx(mean_over_median(cv), rel=0.01)
