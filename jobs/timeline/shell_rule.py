"""The full judgement of a plaster day as a rule for scenarios: asked only about days that the air allows."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from jobs.timeline.day_starts import DayFrame, day_frame, judged_starts
from jobs.timeline.plaster_job import PlasterJob
from jobs.timeline.weather import HourlyWeather, courses


def shell_rule(
    job: PlasterJob, weather: HourlyWeather, first_day: date
) -> Callable[[NDArray[np.int64], int], NDArray[np.bool_]]:
    """``rule(scenarios, day) -> allowed [scenario]``: whether some start of that day passes every rule.

    Parameters
    ----------
    job : surface, crew, mix, limits, place
    weather : scenarios; it should begin some days before *first_day* so that the shell knows its past
    first_day : local date of day 0
    """
    every = courses(weather)
    known: dict[tuple[int, int], bool] = {}
    frames: dict[int, DayFrame] = {}

    def rule(scenarios: NDArray[np.int64], day: int) -> NDArray[np.bool_]:
        if day not in frames:
            frames[day] = day_frame(first_day + timedelta(days=int(day)), job)
        for scenario in {int(one) for one in scenarios}:
            if (scenario, day) not in known:
                masks, _ = judged_starts(frames[day], job, every[scenario], thorough=False)
                known[scenario, day] = bool((masks == 0).any())
        return np.array([known[int(one), day] for one in scenarios], dtype=bool)

    return rule
