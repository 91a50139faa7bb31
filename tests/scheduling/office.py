"""What the tests of the office's pages share: a firm with work in its plan, and reading a page as text."""

from __future__ import annotations

import re
from typing import Any

from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext

from jobs.models import Job, JobState
from tests.cast import Cast, client_of, expect, issue, open_job


def planned_job(cast: Cast, label: str = "Site 01", **changes: Any) -> Job:
    """A job of our firm with dates and an issued plan; its drain is held, since nobody recorded groundwater."""
    job = open_job(cast.own, label=label, **changes)
    expect(job, cast.own)
    issue(cast.own)
    return job


def office(cast: Cast) -> Client:
    return client_of(cast.own.office)


def text_of(answer: HttpResponse) -> str:
    """The page's own part as it reads, without tags."""
    source = answer.content.decode()
    part = source[source.index("<main") :] if "<main" in source else source
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", part)).replace("\N{NO-BREAK SPACE}", " ")


def queries(client: Client, path: str) -> int:
    """Queries of a page when it is asked a second time."""
    client.get(path)
    with CaptureQueriesContext(connection) as seen:
        assert client.get(path).status_code == 200
    return len(seen)


def in_state(job: Job, state: JobState) -> None:
    """Bring a job into a state without living through it."""
    job.state = state
    job.save(update_fields=["state"])
