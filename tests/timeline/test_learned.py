"""A firm's own factor: conjugate where everything is normal, and deaf to one absurd entry."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from jobs.timeline.learned import FOLLOWS, HOURS_PRIOR, SET_PRIOR, Prior, learned, prior_of, rates_learned
from jobs.timeline.rates import RATE_CATALOGUE, Rates

NORMAL = math.inf


def test_without_entries_the_usual_figure_stands_alone():
    found = learned([], HOURS_PRIOR)
    assert (found.factor, found.own_weight, found.n) == (1.0, 0.0, 0)
    assert found.low == pytest.approx(math.exp(-1.2816 * HOURS_PRIOR.factor), rel=2e-3)
    assert rates_learned(Rates(), dict.fromkeys(FOLLOWS, found)) == Rates()


def test_one_normal_entry_gives_the_textbook_answer():
    """P. M. Lee, Bayesian Statistics: an introduction, section 2.2 (from memory): age of a rock, prior 370 with
    standard deviation 20, measured 421 with 8; posterior 413 with 7.4 (million years). Here in hundredths."""
    found = learned([math.exp(0.51)], Prior(0.20, 0.08, spread_sd=0.0), degrees=NORMAL)
    assert 370 + 100 * math.log(found.factor) == pytest.approx(413, abs=1.0), "the book rounds 413.97 down"
    assert 100 * found.sd_log == pytest.approx(7.43, abs=0.01)


@given(st.lists(st.floats(0.6, 1.7), min_size=1, max_size=20))
@settings(max_examples=40, deadline=None)
def test_normal_entries_of_known_spread_are_conjugate(ratios):
    """Gelman et al. (2013), Eq. 2.11-2.12: precisions add, and means weigh by them."""
    prior, spread = 0.30, 0.20
    found = learned(ratios, Prior(prior, spread, spread_sd=0.0), degrees=NORMAL)
    precision = 1 / prior**2 + len(ratios) / spread**2
    mean = np.log(ratios).sum() / spread**2 / precision
    assert math.log(found.factor) == pytest.approx(mean, abs=2e-4)
    assert found.sd_log == pytest.approx(precision**-0.5, rel=2e-3)
    assert found.own_weight == pytest.approx(len(ratios) / (len(ratios) + spread**2 / prior**2), abs=2e-3)
    low, high = stats.norm(mean, precision**-0.5).ppf([0.1, 0.9])
    assert (math.log(found.low), math.log(found.high)) == pytest.approx((low, high), abs=2e-3)


def test_heavy_tails_agree_with_quadrature_by_another_library():
    """Posterior of Student-t entries and an unknown spread, by adaptive quadrature of scipy's own densities."""
    ratios = [1.25, 1.1, 1.4, 1.2, 6.0]
    y = np.log(ratios)

    def density(centre: float, step: float) -> float:
        spread = HOURS_PRIOR.spread * math.exp(HOURS_PRIOR.spread_sd * step)
        told = stats.t.logpdf(y, 4, loc=centre, scale=spread).sum()
        return math.exp(told + stats.norm.logpdf(centre, 0, HOURS_PRIOR.factor) + stats.norm.logpdf(step))

    def moment(power: int) -> float:
        value, _ = integrate.dblquad(lambda s, c: c**power * density(c, s), -1.5, 2.0, -3, 3, epsrel=1e-6)
        return float(value)

    mean = moment(1) / moment(0)
    found = learned(ratios, HOURS_PRIOR)
    assert math.log(found.factor) == pytest.approx(mean, abs=2e-3)
    assert found.sd_log == pytest.approx(math.sqrt(moment(2) / moment(0) - mean**2), rel=0.01)


def test_one_absurd_entry_among_six_moves_the_factor_by_less_than_five_per_cent():
    honest = [1.2, 1.1, 1.3, 1.25, 1.15, 1.2]
    plain = learned(honest, HOURS_PRIOR)
    for absurd in (0.02, 12.0, 90.0):
        found = learned([*honest, absurd], HOURS_PRIOR)
        assert found.factor == pytest.approx(plain.factor, rel=0.05)
        assert found.weights[-1] < 0.1 < 0.9 < min(found.weights[:-1])
        mean = math.exp(float(np.mean(np.log([*honest, absurd]))))
        assert abs(mean - plain.factor) > 3 * abs(found.factor - plain.factor), "a plain mean would have followed it"


def test_one_absurd_entry_alone_is_hardly_believed():
    found = learned([12.0], HOURS_PRIOR)
    assert found.factor < 1.3 and found.own_weight < 0.1


@given(st.lists(st.floats(0.3, 3.0), min_size=1, max_size=12), st.floats(1.02, 1.3))
@settings(max_examples=40, deadline=None)
def test_slower_work_never_gives_a_smaller_factor(ratios, slower):
    found = learned(ratios, HOURS_PRIOR)
    assert found.low <= found.factor <= found.high
    assert min(1.0, *ratios) * 0.999 <= found.factor <= max(1.0, *ratios) * 1.001
    assert 0.0 <= found.own_weight <= 1.0
    if min(ratios) > 0.8 and max(ratios) * slower < 1.4:  # beyond, an entry may become one that is not believed
        assert learned([one * slower for one in ratios], HOURS_PRIOR).factor >= found.factor * 0.999


def test_five_plaster_days_nearly_replace_the_usual_set_time():
    found = learned([0.9] * 5, SET_PRIOR)
    assert found.own_weight > 0.9 and found.factor == pytest.approx(0.9, abs=0.01)
    assert found.next_sd_log < math.hypot(SET_PRIOR.factor, SET_PRIOR.spread)


def test_the_mean_of_many_simulated_firms_lies_where_the_interval_says():
    """Simulation-based calibration: with factors drawn from the prior, eight in ten intervals hold them."""
    rng = np.random.default_rng(28)
    held = 0
    for _ in range(300):
        factor = rng.normal(0, HOURS_PRIOR.factor)
        spread = HOURS_PRIOR.spread * math.exp(HOURS_PRIOR.spread_sd * rng.normal())
        y = factor + spread * rng.standard_t(4, size=6)
        found = learned(np.exp(np.clip(y, -4, 4)), HOURS_PRIOR)
        held += math.log(found.low) <= factor <= math.log(found.high)
    assert held / 300 == pytest.approx(0.8, abs=0.07), "three standard errors of 300 are 0.07"


def test_rates_follow_what_was_learned_within_their_ranges():
    prior = prior_of("prep", Rates())
    slow = learned([1.3] * 30, prior)
    rates = rates_learned(Rates(), {"prep": slow, "set": learned([], SET_PRIOR)})
    assert rates.strip_m2_h == pytest.approx(2.5 / 1.29, rel=0.02)
    assert rates.prep_fixed_h == pytest.approx(3.0 * 1.29, rel=0.02)
    assert rates.reference_set_h == 3.5 and rates.laying_m2_h == 48.0
    assert rates.production_cv < Rates().production_cv, "thirty jobs alike: hours are surer than usual"
    most = rates_learned(Rates(prep_fixed_h=39.0), {"prep": slow})
    assert most.prep_fixed_h == RATE_CATALOGUE["prep_fixed_h"].high


def test_everything_learned_moves_rates_that_exist():
    names = {name for each in FOLLOWS.values() for name in each}
    assert names <= RATE_CATALOGUE.keys()


@pytest.mark.parametrize("ratio", [0.0, -1.0, 101.0, math.nan])
def test_a_ratio_that_is_none_is_refused(ratio):
    with pytest.raises(ValueError, match=r"hours taken over hours expected .* allowed is 0\.01 to 100"):
        learned([1.0, ratio], HOURS_PRIOR)
