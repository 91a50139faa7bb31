"""Feeds read by ical.js (Node) and libical (C): the same events at the same instants as ours, across clock changes."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.urls import reverse

from jobs.models import Job, JobState
from jobs.services.states import job_move
from scheduling.calendars import Entry, Feed, feed_bytes
from scheduling.models import FILL, CalendarEntry
from scheduling.services.calendars import calendar_refresh
from scheduling.vtimezone import onsets
from shared import clock
from shared.models import TokenKind
from shared.services.tokens import token_for
from shared.tenancy.context import acting_for
from tests.cast import Cast, FirmCast, expect, issue, open_job
from tests.scheduling.readers import IcalJs, LibIcal, Read
from tests.scheduling.test_calendars import ZONES

pytestmark = pytest.mark.system
STAMP = dt.datetime(2026, 4, 1, 9, tzinfo=dt.UTC)
BEFORE_SPRING = dt.datetime(2026, 2, 20, 15, tzinfo=dt.UTC)  # the jobs then straddle 8 March


@pytest.fixture(scope="module")
def ical_js(tmp_path_factory: pytest.TempPathFactory) -> IcalJs:
    return IcalJs(tmp_path_factory.mktemp("ical_js"))


@pytest.fixture(scope="module")
def libical() -> LibIcal:
    return LibIcal()


def expected(entry: Entry) -> Read:
    if entry.day is not None:
        starts, ends = entry.day, entry.day + dt.timedelta(days=1)
    else:
        assert entry.starts is not None
        assert entry.ends is not None
        starts, ends = int(entry.starts.timestamp()), int(entry.ends.timestamp())
    status = "CANCELLED" if entry.cancelled else "CONFIRMED" if entry.confirmed else "TENTATIVE"
    return Read(entry.uid, entry.summary, entry.description, status, entry.sequence, starts, ends)


def around_every_change(zone: str) -> list[Entry]:
    """Fills of 30 h that begin before, in and after each change of the clock within two years."""
    changes = [change.at for change in onsets(ZoneInfo(zone), STAMP, STAMP + dt.timedelta(days=730))] or [STAMP]
    return [
        Entry(
            uid=f"{number}-{offset}@{zone}",
            sequence=number,
            created=STAMP,
            changed=STAMP,
            summary=f"Fill {number}; with, marks \\ and ü",
            description="first line\nsecond line",
            category="fill",
            zone=zone,
            starts=change + dt.timedelta(hours=offset),
            ends=change + dt.timedelta(hours=offset + 30),
        )
        for number, change in enumerate(changes)
        for offset in (-31, -30, -2, -1, -0.5, 0, 0.5, 1, 30)
    ]


@pytest.mark.parametrize("zone", ZONES)
def test_both_readers_find_our_instants_around_every_change_of_the_clock(zone: str, ical_js: IcalJs, libical: LibIcal):
    entries = around_every_change(zone)
    data = feed_bytes(Feed("fills", "", entries))
    wanted = [expected(entry) for entry in entries]
    assert libical.read(data) == wanted
    assert ical_js.read(data) == wanted


def test_zones_in_one_feed_are_not_mixed_up(ical_js: IcalJs, libical: LibIcal):
    entries = [around_every_change(zone)[3] for zone in ZONES]
    data = feed_bytes(Feed("fills", "of everywhere", entries))
    assert libical.read(data) == ical_js.read(data) == [expected(entry) for entry in entries]


@pytest.fixture
def job(cast: Cast) -> Job:
    """Two issued jobs in two zones, one of which is called off."""
    with clock.clock_at(BEFORE_SPRING):
        found = open_job(cast.own)
        expect(found, cast.own)
        second = open_job(cast.own, label="Site 02; ü, \\ and a comma", site={"zone": "America/Chicago"})
        expect(second, cast.own)
        third = open_job(cast.own, label="Site 03")
        expect(third, cast.own)
        issue(cast.own)
        with acting_for(cast.own.contractor.pk):
            job_move(third, JobState.CALLED_OFF, by=cast.own.office)
            calendar_refresh(cast.own.contractor, [third], at=clock.now())
    return found


def fetched(firm: FirmCast, purpose: str, subject_id=None) -> bytes:
    with acting_for(firm.contractor.pk):
        token = token_for(TokenKind.FEED, purpose, subject_id)
    with clock.clock_at(BEFORE_SPRING):
        answer = Client().get(reverse("feed", args=[token.secret]))
    assert answer.status_code == 200
    return bytes(answer.content)


def kept(firm: FirmCast, **wanted) -> dict[str, tuple[int, int | dt.date, int | dt.date | None]]:
    """Sequence and times of the kept entries by uid."""
    with acting_for(firm.contractor.pk):
        rows = list(CalendarEntry.objects.filter(**wanted))
    return {
        row.uid: (row.sequence, row.day, row.day + dt.timedelta(days=1))
        if row.day
        else (row.sequence, int(row.starts.timestamp()), int(row.ends.timestamp()))
        for row in rows
        if row.day or (row.starts and row.ends)
    }


@pytest.mark.parametrize("purpose", ["firm", "doubt", "pool_owner", "crew"])
def test_both_readers_find_what_the_service_keeps_in_every_kind_of_feed(
    cast: Cast, job: Job, purpose: str, ical_js: IcalJs, libical: LibIcal
):
    crew = cast.own.crews["water"]
    subject = {"pool_owner": job.pk, "crew": crew.pk}.get(purpose)
    data = fetched(cast.own, purpose, subject)
    one, other = libical.read(data), ical_js.read(data)
    assert one == other
    wanted = {
        "firm": {"key": FILL},
        "doubt": {"key": FILL, "cancelled_at": None},
        "pool_owner": {"job": job, "crew_id": None},
        "crew": {"crew_id": crew.pk},
    }[purpose]
    entries = kept(cast.own, **wanted)
    found = {event.uid: (event.sequence, event.starts, event.ends) for event in one}
    if purpose == "doubt":
        assert found.items() <= entries.items()
    else:
        assert found == entries
        assert one
    if purpose in ("firm", "crew"):
        assert {event.status for event in one} >= {"CANCELLED", "TENTATIVE"}
