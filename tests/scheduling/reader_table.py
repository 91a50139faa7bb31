"""Every calendar of the demonstration, read by four independent readers: `python -m tests.scheduling.reader_table`.

The demonstration firms are built on throw-away servers. Each calendar is read by icalendar and vobject (Python),
ical.js (Node; fetched from npm by name, version and integrity) and libical (Debian); their events and instants are
compared with each other. Then the fill of one job is moved by two days and another job is called off, and all is read
once more. Prints a table and, as its last line, one JSON object. Takes some minutes: building the firms is the most.
"""

# ruff: noqa: PLC0415  the servers' addresses must be known before Django reads its settings
from __future__ import annotations

import argparse
import datetime as dt
import json
import os
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from resurf.testing import ThrowAwayEngines

Instants = dict[str, tuple[Any, Any, int, str]]  # uid: start, end, sequence, status
WHENS: Final = ("as built", "after a move", "after a job was called off")


def main() -> None:
    parser = argparse.ArgumentParser(description="Every calendar of the demonstration, read by four readers.")
    parser.add_argument("--json", action="store_true", help="print only the JSON line")
    options = parser.parse_args()
    engines = ThrowAwayEngines.planned()
    try:
        os.environ.update({"DJANGO_SETTINGS_MODULE": "resurf.settings", **engines.environment()})
        engines.start()
        rows = _on_a_database()
    finally:
        engines.stop()
    if not options.json:
        print(f"{'firm':<14}{'calendar':<34}{'when':<28}{'events':>7}  identical in")
        for row in rows:
            same = ", ".join(row["readers"]) if row["identical"] else f"NOT IDENTICAL: {row['readers']}"
            print(f"{row['firm']:<14}{row['calendar']:<34}{row['when']:<28}{row['events']:>7}  {same}")
    wrong = [row for row in rows if not row["identical"]]
    events = sum(row["events"] for row in rows)
    print(json.dumps({"calendars": len(rows), "events": events, "readers": 4, "not_identical": len(wrong)}))
    sys.exit(1 if wrong else 0)


def _on_a_database() -> list[dict[str, Any]]:
    import django
    from django.test.utils import setup_databases, setup_test_environment, teardown_databases, teardown_test_environment

    django.setup()
    setup_test_environment()
    databases = setup_databases(verbosity=0, interactive=False, serialized_aliases=set())
    try:
        from django.db import transaction

        from fixtures_demo.build import build

        with transaction.atomic():
            build(dt.datetime.now(dt.UTC))
        with tempfile.TemporaryDirectory() as folder:
            return _read_all(_readers(Path(folder)))
    finally:
        teardown_databases(databases, verbosity=0)
        teardown_test_environment()


def _read_all(readers: dict[str, Callable[[bytes], Instants]]) -> list[dict[str, Any]]:
    from shared.models import Contractor

    rows = []
    for when, change in zip(WHENS, (None, _move, _call_off), strict=True):
        for contractor in Contractor.objects.order_by("slug"):
            if change is not None:
                change(contractor)
            rows += [
                {"firm": contractor.slug, "calendar": name, "when": when, **_compared(body, readers)}
                for name, body in _calendars(contractor)
            ]
    return rows


def _calendars(contractor: Any) -> list[tuple[str, bytes]]:
    """Name and bytes of every calendar of a firm, asked for as a subscriber does."""
    from django.test import Client
    from django.urls import reverse

    from jobs.models import Job
    from scheduling.models import Crew
    from shared.models import TokenKind
    from shared.services.tokens import token_for
    from shared.tenancy.context import acting_for

    with acting_for(contractor.pk):
        wanted: list[tuple[str, str, Any]] = [("fill days", "firm", None), ("dates in doubt", "doubt", None)]
        wanted += [(f"crew {crew.name}", "crew", crew.pk) for crew in Crew.objects.order_by("name")]
        jobs = Job.objects.select_related("site").order_by("number")
        wanted += [(f"pool owner, job {job.number}", "pool_owner", job.pk) for job in jobs]
        links = [(name, token_for(TokenKind.FEED, purpose, subject)) for name, purpose, subject in wanted]
    found = []
    for name, link in links:
        answer = Client().get(reverse("feed", args=[link.secret]))
        assert answer.status_code == 200, (name, answer.status_code)
        found.append((name[:32], bytes(answer.content)))
    return found


def _compared(body: bytes, readers: dict[str, Callable[[bytes], Instants]]) -> dict[str, Any]:
    read = {name: reader(body) for name, reader in readers.items()}
    first = next(iter(read.values()))
    return {"events": len(first), "identical": all(one == first for one in read.values()), "readers": list(read)}


def _readers(folder: Path) -> dict[str, Callable[[bytes], Instants]]:
    from tests.scheduling.readers import IcalJs, LibIcal

    js, system = IcalJs(folder), LibIcal()

    def of(read: list[Any]) -> Instants:
        return {event.uid: (event.starts, event.ends, event.sequence, event.status) for event in read}

    return {
        "icalendar": _icalendar,
        "vobject": _vobject,
        "ical.js": lambda body: of(js.read(body)),
        "libical": lambda body: of(system.read(body)),
    }


def _icalendar(body: bytes) -> Instants:
    import icalendar

    return {
        str(event["UID"]): (
            _moment(event.decoded("dtstart")),
            _moment(event.decoded("dtend")),
            int(event["SEQUENCE"]),
            str(event["STATUS"]),
        )
        for event in icalendar.Calendar.from_ical(body).walk("VEVENT")
    }


def _vobject(body: bytes) -> Instants:
    import vobject

    return {
        event.uid.value: (
            _moment(event.dtstart.value),
            _moment(event.dtend.value),
            int(event.sequence.value),
            event.status.value,
        )
        for event in getattr(vobject.readOne(body.decode()), "vevent_list", [])
    }


def _moment(value: dt.date | dt.datetime) -> Any:
    """Whole days as dates, instants in seconds since 1970."""
    return int(value.timestamp()) if isinstance(value, dt.datetime) else value


def _move(contractor: Any) -> None:
    """What issuing a plan with a later fill does to the calendars."""
    from scheduling.models import FILL, CalendarEntry, Stage, Stint
    from scheduling.services.calendars import calendar_refresh
    from shared import clock
    from shared.tenancy.context import acting_for

    with acting_for(contractor.pk):
        entries = CalendarEntry.objects.filter(key=FILL, confirmed=False, cancelled_at=None, day__gt=clock.now().date())
        entry = entries.select_related("job").order_by("day").first()
        assert entry is not None
        for stint in Stint.objects.filter(job=entry.job, stage__in=(Stage.FILL_START, Stage.FILL_END), state="issued"):
            stint.starts += dt.timedelta(days=2)
            stint.ends += dt.timedelta(days=2)
            stint.save()
        assert calendar_refresh(contractor, [entry.job], at=clock.now()) > 0


def _call_off(contractor: Any) -> None:
    from jobs.models import JobState
    from jobs.services.states import job_move
    from scheduling.models import FILL, CalendarEntry
    from scheduling.services.calendars import calendar_refresh
    from shared import clock
    from shared.tenancy.context import acting_for

    with acting_for(contractor.pk):
        entries = CalendarEntry.objects.filter(key=FILL, confirmed=False, cancelled_at=None).select_related("job__site")
        job = entries.order_by("-day")[0].job
        job_move(job, JobState.CALLED_OFF, by="reader table")
        assert calendar_refresh(contractor, [job], at=clock.now()) > 0


if __name__ == "__main__":
    main()
