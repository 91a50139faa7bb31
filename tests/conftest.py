from __future__ import annotations

import pytest

from tests import cast as cast_module
from tests.cast import Cast


@pytest.fixture
def cast(db: None) -> Cast:
    """Two firms with their people and crews."""
    return cast_module.make_cast()
