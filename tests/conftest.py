from __future__ import annotations

from collections.abc import Iterator

import pytest

from shared import clock
from tests import cast as cast_module
from tests.cast import Cast


@pytest.fixture
def cast(db: None) -> Iterator[Cast]:
    """Two firms with their people and crews; the clock stands, so that no test runs across a half-hour."""
    with clock.clock_at(clock.now()):
        yield cast_module.make_cast()
