"""What tests of notices do: look, send and move at a moment of their choice."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import pytest
from django.core import mail

from jobs.models import ExpectedDates, Job
from scheduling.models import (
    Notice,
    NoticeWatch,
    Stage,
    Stint,
)
from scheduling.notice_tasks import mails_task
from scheduling.services.calendars import calendar_refresh
from scheduling.services.notices import notices_look
from shared import clock
from shared.tenancy.context import acting_for
from tests.cast import Cast, FirmCast, expect, issue, open_job

OFFICE, CREW, OWNER = "office@own.example", "crew_lead@own.example", "pool.owner@cast.example"


@pytest.fixture
def job(cast: Cast) -> Job:
    """An issued job whose fill is some ten days ahead; nothing to tell has been looked for yet."""
    found = open_job(cast.own)
    expect(found, cast.own, verdicts=[])
    with acting_for(cast.own.contractor.pk):
        ExpectedDates.objects.update(verdicts=[])
    issue(cast.own)
    return found


def at_local(firm: FirmCast, day: dt.date, hour: int, minute: int = 0) -> dt.datetime:
    return dt.datetime.combine(day, dt.time(hour, minute), tzinfo=firm.contractor.tz).astimezone(dt.UTC)


def look(firm: FirmCast, now: dt.datetime) -> None:
    with clock.clock_at(now), acting_for(firm.contractor.pk):
        notices_look(firm.contractor, now=now)


def send(firm: FirmCast, now: dt.datetime) -> list[Any]:
    """What leaves at this moment."""
    mail.outbox.clear()
    with clock.clock_at(now):
        mails_task.run(str(firm.contractor.pk))
    return list(mail.outbox)


def told(firm: FirmCast, now: dt.datetime) -> list[Any]:
    look(firm, now)
    return send(firm, now)


def stint_of(job: Job, firm: FirmCast, stage: str) -> Stint:
    with acting_for(firm.contractor.pk):
        return Stint.objects.get(job=job, stage=stage)


def open_watch(firm: FirmCast, at: dt.datetime) -> None:
    with acting_for(firm.contractor.pk):
        NoticeWatch.objects.update_or_create(defaults={"looked_at": at})


def move(job: Job, firm: FirmCast, days: int, now: dt.datetime, why: str = "weather") -> None:
    """What issuing a plan with another fill does."""
    with clock.clock_at(now), acting_for(firm.contractor.pk):
        for stint in Stint.objects.filter(job=job, stage__in=(Stage.FILL_START, Stage.FILL_END)):
            stint.starts += dt.timedelta(days=days)
            stint.ends += dt.timedelta(days=days)
            stint.save()
        calendar_refresh(firm.contractor, [job], at=now, why={job.pk: why})


def rows(firm: FirmCast, **where: Any) -> list[Notice]:
    with acting_for(firm.contractor.pk):
        return list(Notice.objects.filter(**where).order_by("made_at", "pk"))


def to(messages: list[Any]) -> list[str]:
    return sorted(re.sub(r".*<(.*)>", r"\1", message.to[0]) for message in messages)
