"""Ask for expected dates to be computed again: something they depend on has changed."""

from __future__ import annotations

import datetime as dt
from typing import Final

from jobs.models import Job, JobState, WeatherCell
from jobs.selectors.weather import ONLINE, cell_key
from shared.models import Contractor, Firm
from shared.waking import task_wake

TASK = "scheduling.expected_dates"
FETCH = "jobs.cell_fetch"
QUEUE = "weather"
ASKED_LATELY: Final = dt.timedelta(minutes=1)  # sources are not asked more often, however often somebody taps


def dates_ask(contractor: Contractor) -> None:
    """Wake a worker after the commit, by the task's name, since it belongs to scheduling; a lost call only waits."""
    task_wake(TASK, str(contractor.pk), queue=QUEUE)


def weather_ask(contractor: Contractor, now: dt.datetime) -> int:
    """Ask the online sources of the active firm's open sites now, then compute its dates; returns how many cells."""
    dates_ask(contractor)  # bundled weather comes with them
    source = Firm.objects.get().source
    if source not in ONLINE:
        return 0
    over = (JobState.FINISHED, JobState.CALLED_OFF)
    keys = {cell_key(job.site, source) for job in Job.objects.exclude(state__in=over).select_related("site")}
    asked = 0
    for source_of, latitude, longitude in sorted(keys):
        cell = WeatherCell.objects.filter(source=source_of, latitude=latitude, longitude=longitude).first()
        if cell is not None and (cell.asked_at is None or now - cell.asked_at >= ASKED_LATELY):
            task_wake(FETCH, str(cell.pk), str(contractor.pk), queue=QUEUE)
            asked += 1
    return asked
