"""Stints and weather for the pages used on site, placed by hand so that each test knows its hours."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from zoneinfo import ZoneInfo

from django.test import Client

from jobs.models import Job, JobState
from jobs.services.weather_hours import cell_open, cell_refresh
from scheduling.models import Crew, Stint
from shared import clock
from shared.models import Membership
from shared.tenancy.context import acting_for
from tests.cast import FirmCast, client_of, open_job

ZONE = ZoneInfo("America/New_York")
TODAY = dt.date(2026, 4, 15)


def at(hour: float, day: dt.date = TODAY) -> dt.datetime:
    """A clock time of the site."""
    return dt.datetime.combine(day, dt.time(), ZONE) + dt.timedelta(hours=hour)


def stint_at(
    job: Job, firm: FirmCast, stage: str, begin: dt.datetime, end: dt.datetime, *, crew: Crew | None = None, **more: Any
) -> Stint:
    """An issued stint of the crew that has the skill."""
    skill = {"prep": "prep", "bond": "prep", "plaster": "plaster"}.get(stage, "water")
    with acting_for(firm.contractor.pk):
        return Stint.objects.create(
            job=job,
            crew=crew or firm.crews[skill],
            stage=more.pop("stage", stage),
            key=more.pop("key", stage),
            starts=begin,
            ends=end,
            state=more.pop("state", "issued"),
            **more,
        )


def with_weather(job: Job, firm: FirmCast) -> None:
    """The forecast of this moment for the cell of the job's site."""
    with acting_for(firm.contractor.pk):
        cell_refresh(cell_open(job.site, "archive"), clock.now())


def job_under_way(firm: FirmCast, **more: Any) -> Job:
    job = open_job(firm, **more)
    set_state(job, firm, state=JobState.UNDER_WAY)
    return job


def set_state(job: Job, firm: FirmCast, **fields: Any) -> None:
    with acting_for(firm.contractor.pk):
        for name, value in fields.items():
            setattr(job, name, value)
        job.save(update_fields=list(fields))


@contextmanager
def on_day(hour: float, day: dt.date = TODAY) -> Iterator[None]:
    """Everything inside happens at this clock time of the site."""
    with clock.clock_at(at(hour, day).astimezone(dt.UTC)):
        yield


def lead_of(firm: FirmCast, skill: str, member: Membership | None = None) -> Client:
    """A browser of the lead of the crew with this skill."""
    with acting_for(firm.contractor.pk):
        crew = firm.crews[skill]
        crew.lead = member or firm.crew_lead
        crew.save(update_fields=["lead"])
    return client_of(member or firm.crew_lead)


def new_id() -> str:
    return str(uuid.uuid4())
