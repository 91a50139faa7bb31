"""Have the inner loops ready before anybody waits for them."""

from __future__ import annotations

from datetime import UTC, date, datetime

import numpy as np

from jobs.timeline.plaster_day import plaster_day
from jobs.timeline.plaster_job import PlasterJob
from jobs.timeline.stage_job import StageJob
from jobs.timeline.stages import bond_rows, plaster_outlook
from jobs.timeline.weather import HourlyWeather, stacked


def warm_up() -> None:
    """Compile or load every inner loop by judging one made-up day: about 15 s the first time, 1 s later."""
    hours = 24 * 8
    still = HourlyWeather.of(
        datetime(2026, 5, 10, tzinfo=UTC),
        temp_air_c=np.full(hours, 18.0),
        relative_humidity=np.full(hours, 0.6),
        wind_m_s=np.full(hours, 2.0),
        rain_mm=np.zeros(hours),
    )
    for material in ("column", "air"):
        job = PlasterJob(60.0, 40.0, 45.0, 4, 36.0, -80.0, "UTC", material=material)
        plaster_day(date(2026, 5, 12), 8.0, job, still)
        plaster_outlook(StageJob(job), still, date(2026, 5, 12), 1)
        plaster_outlook(StageJob(job), stacked([still, still]), date(2026, 5, 12), 1)
        bond_rows(StageJob(job), still, date(2026, 5, 12), 1)
