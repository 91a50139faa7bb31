"""Ask for expected dates to be computed again: something they depend on has changed."""

from __future__ import annotations

import datetime as dt
from functools import partial
from typing import Final

from celery import current_app
from django.db import transaction

from jobs.models import Job, JobState, WeatherCell
from jobs.selectors.weather import ONLINE, cell_key
from shared.models import Contractor, Firm

TASK = "scheduling.expected_dates"
FETCH = "jobs.cell_fetch"
QUEUE = "weather"
ASKED_LATELY: Final = dt.timedelta(minutes=1)  # sources are not asked more often, however often somebody taps


def dates_ask(contractor: Contractor) -> None:
    """Wake a worker after the commit, by the task's name, since it belongs to scheduling; a lost call only waits."""
    send = partial(current_app.send_task, TASK, args=[str(contractor.pk)], queue=QUEUE)
    transaction.on_commit(send, robust=True)


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
            send = partial(current_app.send_task, FETCH, args=[str(cell.pk), str(contractor.pk)], queue=QUEUE)
            transaction.on_commit(send, robust=True)
            asked += 1
    return asked
