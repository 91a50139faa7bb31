"""Hands for the trowel passes: the bound is met, and the most urgent first meets every deadline with that many."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.timeline.trowelling import finishers_needed, pass_times_h

# constant 23 C, initial set 3.5 h, four sections of 24 m2 laid at 48 m2/h, 40 m2/h per finisher (worked by hand)
MIXED = np.array([0.0, 0.5, 1.0, 1.5])[:, None]
RELEASE = MIXED + np.array([2.1, 2.975, 3.5, 4.2])
DEADLINE = MIXED + np.array([2.8, 3.5, 4.2, 4.9])
DONE_BY_HAND = np.array(
    [
        [2.300, 3.175, 3.875, 4.675],
        [2.800, 3.675, 4.475, 5.275],
        [3.375, 4.275, 5.075, 5.675],
        [4.075, 4.875, 5.475, 5.900],
    ]
)

tasks = st.lists(st.tuples(st.floats(0, 10), st.floats(0.1, 4), st.floats(0.01, 2)), min_size=1, max_size=14).map(
    lambda rows: np.array(rows).T
)


def test_every_pass_of_the_worked_pool_is_done_when_the_hand_calculation_says() -> None:
    done, slack = pass_times_h(RELEASE, DEADLINE, 0.6, 3)
    assert done == pytest.approx(DONE_BY_HAND, abs=1e-9)
    assert slack.min() * 60 == pytest.approx(7.5)


def test_the_interval_that_asks_most_is_named() -> None:
    count, (begin, end) = finishers_needed(RELEASE, DEADLINE, 0.6)
    assert (count, begin, end) == pytest.approx((5.4 / 1.925, 3.475, 5.4))


@settings(deadline=None, max_examples=300)
@given(tasks)
def test_the_bound_is_enough_and_a_little_less_is_not(rows: np.ndarray) -> None:
    release, length, work = rows
    deadline = release + length
    needed, _ = finishers_needed(release, deadline, work)
    assert pass_times_h(release, deadline, work, needed * (1 + 1e-9))[1].min() > -1e-6
    assert pass_times_h(release, deadline, work, needed * 0.99)[1].min() < 0


@settings(deadline=None, max_examples=200)
@given(tasks, st.floats(0, 8), st.floats(0.2, 1.0))
def test_the_bound_holds_with_hands_tied_by_laying(rows: np.ndarray, until: float, share: float) -> None:
    release, length, work = rows
    deadline = release + length
    needed, _ = finishers_needed(release, deadline, work, laying_until_h=until, free_while_laying=share)
    tied = {"laying_until_h": until, "free_while_laying": share}
    assert pass_times_h(release, deadline, work, needed * (1 + 1e-9), **tied)[1].min() > -1e-6
    assert pass_times_h(release, deadline, work, needed * 0.99, **tied)[1].min() < 0
    assert needed >= finishers_needed(release, deadline, work)[0] - 1e-9


@settings(deadline=None)
@given(tasks, st.floats(0.5, 5))
def test_no_work_is_done_before_its_release_and_all_of_it_is_done(rows: np.ndarray, hands: float) -> None:
    release, length, work = rows
    done, _ = pass_times_h(release, release + length, work, hands)
    assert (done >= release + work / hands - 1e-6).all()
    assert done.max() <= release.max() + work.sum() / hands + 1e-6


def test_equal_deadlines_go_to_the_earlier_section() -> None:
    done, _ = pass_times_h([0, 0], [4, 4], [1, 1], 1)
    assert list(done) == [1, 2]


def test_a_pass_without_time_and_a_team_of_nobody_are_refused() -> None:
    with pytest.raises(ValueError, match=r"due at 2 h and must be done by 2 h"):
        finishers_needed([2.0], [2.0], 1.0)
    with pytest.raises(ValueError, match="finishers is 0"):
        pass_times_h([0.0], [1.0], 1.0, 0)
    with pytest.raises(ValueError, match="one shape"):
        finishers_needed([0.0, 1.0], [1.0], 1.0)
