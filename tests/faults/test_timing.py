"""The comparison of times sees a difference that is there, and none where there is none. No wall time is asserted."""

from __future__ import annotations

import random
from collections.abc import Callable

from tests.faults.timing import compared


def asked(lot: random.Random, slower_by: float) -> Callable[[], tuple[int, float]]:
    return lambda: (404, 0.010 + slower_by + lot.expovariate(1 / 0.002))


def run(slower_by: float, pairs: int = 300) -> dict[str, float]:
    lot = random.Random(7)
    return compared(asked(lot, slower_by), asked(lot, 0.0), pairs=pairs, lot=lot, between=lambda: None)


def test_a_millisecond_that_tells_something_is_seen_under_noise_of_two():
    found = run(0.001)
    assert found["p"] < 0.001
    assert found["first_slower"] > 0.58
    assert found["median_difference_ms"] > 0.5


def test_chance_alone_is_not_taken_for_a_difference():
    found = run(0.0)
    assert found["p"] > 0.05
    assert 0.43 < found["first_slower"] < 0.57
    assert found["statuses"] == [404]
    assert found["pairs"] == 300
