"""Scores: proper, consistent with their definitions, and refusing nonsense."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from jobs.timeline.scores import (
    crps_days,
    jobs_for_half_width,
    jobs_to_reject,
    pinball_days,
    quantile_day,
    randomised_pit,
    stated_coverage,
)

samples = arrays(np.int64, st.integers(1, 40), elements=st.integers(0, 46))


@given(samples, st.integers(0, 46))
def test_the_quick_crps_is_the_double_sum(sample: np.ndarray, outcome: int) -> None:
    slow = np.abs(sample - outcome).mean() - np.abs(sample[:, None] - sample).sum() / (2 * sample.size**2)
    assert crps_days(sample, outcome) == pytest.approx(slow, abs=1e-9)


@given(samples, st.integers(0, 46))
def test_the_crps_is_the_area_between_the_steps(sample: np.ndarray, outcome: int) -> None:
    days = np.arange(0, 47)
    below = (sample[:, None] <= days).mean(axis=0)
    assert crps_days(sample, outcome) == pytest.approx(float(((below - (days >= outcome)) ** 2).sum()), abs=1e-9)


@given(st.integers(0, 46), st.integers(0, 46))
def test_a_single_date_scores_its_error(date: int, outcome: int) -> None:
    assert crps_days(date, outcome) == abs(date - outcome)


def test_the_true_distribution_scores_best_on_average() -> None:
    rng = np.random.default_rng(3)
    truth = rng.poisson(9.0, 4000)
    honest, early, narrow = (rng.poisson(9.0, 4000), rng.poisson(7.0, 4000), np.full(4000, 9))
    scores = [float(np.mean(crps_days(np.tile(sample, (1, 1)), truth[:, None][:, 0]))) for sample in (honest,)]
    assert scores[0] < np.mean(crps_days(early[None, :], truth))
    assert scores[0] < np.mean(crps_days(narrow[None, :], truth))


@given(samples, st.sampled_from([0.1, 0.5, 0.8, 0.9]))
def test_a_quantile_is_the_first_day_with_enough_below(sample: np.ndarray, level: float) -> None:
    day = quantile_day(sample, level)
    assert (sample <= day).mean() >= level - 1e-12
    assert (sample < day).mean() < level
    assert stated_coverage(sample, level) == (sample <= day).mean()


def test_the_pit_of_draws_from_the_sample_itself_is_level() -> None:
    rng = np.random.default_rng(5)
    samples_of_jobs = rng.poisson(rng.uniform(4, 20, (3000, 1)), (3000, 200))
    outcome = samples_of_jobs[np.arange(3000), rng.integers(0, 200, 3000)]
    pit = np.asarray(randomised_pit(samples_of_jobs, outcome, rng.random(3000)))
    counts, _ = np.histogram(pit, bins=10, range=(0, 1))
    assert np.abs(counts / 3000 - 0.1).max() < 0.025


def test_the_pit_lies_between_the_steps_of_the_sample() -> None:
    sample = np.array([3, 3, 5, 9])
    assert randomised_pit(sample, 5, 0.0) == 0.5
    assert randomised_pit(sample, 5, 1.0) == 0.75
    assert randomised_pit(sample, 2, 0.7) == 0.0
    assert randomised_pit(sample, 46, 0.2) == 1.0


def test_whole_days_make_a_calibrated_ninety_cover_more_than_ninety() -> None:
    assert stated_coverage(np.repeat([10, 11, 13, 16], [120, 40, 25, 15]), 0.9) == 0.925


def test_pinball_punishes_a_late_outcome_by_its_level() -> None:
    assert pinball_days(12, 15, 0.9) == pytest.approx(2.7)
    assert pinball_days(12, 10, 0.9) == pytest.approx(0.2)
    assert list(np.asarray(pinball_days([12, 12], [15, 10], 0.5))) == [1.5, 1.0]


def test_more_jobs_are_needed_for_a_finer_statement() -> None:
    assert jobs_for_half_width(0.02) > jobs_for_half_width(0.03)
    assert jobs_to_reject(0.9, 0.85, 0.95) > jobs_to_reject(0.9, 0.85, 0.9)
    with pytest.raises(ValueError, match="no number of jobs"):
        jobs_to_reject(0.9, 0.9, 0.9)


@pytest.mark.parametrize("level", [-0.1, 1.2, float("nan")])
def test_a_level_outside_its_range_is_refused(level: float) -> None:
    with pytest.raises(ValueError, match="level of a quantile"):
        pinball_days(12, 15, level)
    with pytest.raises(ValueError, match="level of a quantile"):
        quantile_day([1, 2, 3], level)


def test_no_sample_is_refused() -> None:
    with pytest.raises(ValueError, match="no member"):
        crps_days([], 3)
