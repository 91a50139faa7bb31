from __future__ import annotations

from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, settings

from shared import clock
from tests import cast as cast_module
from tests.cast import Cast

# How long a machine takes says nothing about the program: neither an example nor the drawing of one is timed.
settings.register_profile("untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("untimed")


@pytest.fixture
def cast(db: None) -> Iterator[Cast]:
    """Two firms with their people and crews; the clock stands, so that no test runs across a half-hour."""
    with clock.clock_at(clock.now()):
        yield cast_module.make_cast()
