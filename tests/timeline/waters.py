"""Water of a pool of 60 m3 in its first month, and the advice on it."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

from hypothesis import settings
from hypothesis import strategies as st

from jobs.timeline.start_up import (
    Advice,
    WaterTest,
    what_next,
)
from jobs.timeline.start_up_settings import Method

NOON = dt.datetime(2025, 5, 6, 12, tzinfo=dt.UTC)
FULL = dt.date(2025, 5, 5)
VOLUME = 60.0
GOOD = WaterTest(NOON, 22.0, 7.4, 250, 100, 800, 40, 2.0)
BALANCED = replace(GOOD, ph=7.5, temp_c=25.0)


def advise(test: WaterTest = GOOD, day: int = 5, method: Method = "traditional", **more: Any) -> Advice:
    return what_next(test, day=day, method=method, volume_m3=VOLUME, **more)


@st.composite
def random_waters(draw: st.DrawFn) -> WaterTest:
    return WaterTest(
        NOON,
        draw(st.floats(5, 35)),
        draw(st.floats(6.0, 10.5)),
        draw(st.floats(5, 900)),
        draw(st.floats(10, 500)),
        draw(st.floats(0, 6000)),
        draw(st.floats(0, 100)),
    )


few = settings(max_examples=40, deadline=None, derandomize=True)
