"""How laws are tried: the same hundred examples every time, no clock."""

from __future__ import annotations

from hypothesis import settings
from hypothesis import strategies as st

LAW = settings(derandomize=True, max_examples=100, deadline=None, database=None)


def between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False, allow_infinity=False)
