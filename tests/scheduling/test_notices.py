"""What is told to whom and when: from issued facts, once by its cause, outside mail-free hours."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.core import mail
from django.db import connection

from jobs.models import ExpectedDates, Job, JobState, LogKind, PoolOwner, WaterTest
from jobs.services.states import job_move
from scheduling.models import (
    CalendarEntry,
    Notice,
    NoticeKind,
    NoticeState,
    NoticeWatch,
    Receiver,
    Stage,
    Stint,
)
from scheduling.notice_tasks import notices_look_task
from scheduling.selectors.receivers import addressees
from scheduling.services.receivers import notices_stop, receivers_of, wishes_set
from scheduling.services.site_work import site_log
from shared import clock
from shared.models import Contractor
from shared.tenancy.context import acting_for
from tests.cast import Cast, FirmCast, expect, issue, open_job, propose
from tests.scheduling.telling import (
    CREW,
    OFFICE,
    OWNER,
    at_local,
    job,
    look,
    move,
    open_watch,
    rows,
    send,
    stint_of,
    to,
    told,
)

__all__ = ["job"]  # the fixture


def test_the_first_look_opens_the_watch_and_tells_nothing_of_before(cast: Cast, job: Job):
    fill = stint_of(job, cast.own, Stage.FILL_START)
    assert told(cast.own, fill.starts - dt.timedelta(minutes=30)) != []  # still ahead: told, though late
    with acting_for(cast.own.contractor.pk):
        Notice.objects.all().delete()
        NoticeWatch.objects.all().delete()
    assert told(cast.own, fill.starts + dt.timedelta(hours=4)) == []


def test_the_afternoon_before_the_fill_the_pool_owner_and_the_crew_lead_are_told_once(cast: Cast, job: Job):
    fill = stint_of(job, cast.own, Stage.FILL_START)
    day = fill.starts.astimezone(cast.own.contractor.tz).date()
    before = day - dt.timedelta(days=1)
    open_watch(cast.own, at_local(cast.own, before, 13))
    assert told(cast.own, at_local(cast.own, before, 14, 55)) == []
    messages = told(cast.own, at_local(cast.own, before, 15, 0))
    assert to(messages) == [CREW, OWNER]
    owner = next(m for m in messages if OWNER in m.to[0])
    assert owner.subject == f"Site 01: filling starts {day:%A} {day.day} {day:%B}"
    assert "does not stop until the pool is full" in owner.body
    assert "Keep people and animals away" in owner.body
    assert "/pool/" in owner.body
    lead = next(m for m in messages if CREW in m.to[0])
    assert "Alder Court 4" in lead.body
    assert "backflow preventer" in lead.body
    for later in range(3):
        assert told(cast.own, at_local(cast.own, before, 15 + later, 10)) == []


def test_a_fill_issued_late_is_told_at_once_and_one_that_has_begun_is_listed_as_not_sent(cast: Cast, job: Job):
    fill = stint_of(job, cast.own, Stage.FILL_START)
    day = fill.starts.astimezone(cast.own.contractor.tz).date()
    open_watch(cast.own, at_local(cast.own, day - dt.timedelta(days=2), 12))
    # beat was away from the day before yesterday until the fill had begun
    back = fill.starts + dt.timedelta(hours=3)
    assert told(cast.own, back) == [] or all("fill" not in m.subject for m in mail.outbox)
    late = rows(cast.own, kind=NoticeKind.FILL_TOMORROW)
    assert [(row.state, row.why) for row in late] == [(NoticeState.SKIPPED, "late")] * 2
    assert told(cast.own, back + dt.timedelta(minutes=5)) == []


def test_nothing_is_told_of_a_proposal(cast: Cast, job: Job):
    second = open_job(cast.own, label="Site 02")
    expect(second, cast.own)
    with acting_for(cast.own.contractor.pk):
        ExpectedDates.objects.update(verdicts=[])
    now = clock.now()
    open_watch(cast.own, now)
    propose(cast.own)
    with acting_for(cast.own.contractor.pk):
        assert not Notice.objects.filter(job=second).exists()
        assert not CalendarEntry.objects.filter(job=second).exists()
    for days in range(12):
        look(cast.own, now + dt.timedelta(days=days, hours=1))
    assert rows(cast.own, job=second) == []


def test_a_moved_date_says_old_new_and_why_to_each_in_their_words(cast: Cast, job: Job):
    now = at_local(cast.own, clock.now().date(), 10)
    open_watch(cast.own, now)
    move(job, cast.own, 2, now)
    assert send(cast.own, now) == []  # gathered for a moment
    messages = send(cast.own, now + dt.timedelta(minutes=4))
    assert to(messages) == ["both@cast.example", CREW, "manager@own.example", OWNER]
    owner = next(m for m in messages if OWNER in m.to[0])
    assert re.search(r"Your pool will be full on \w+ \d+ \w+, not on \w+ \d+ \w+\. Why: the weather\.", owner.body)
    for private in ("crew", "job 1", "Promised", "manager"):
        assert private not in owner.body
    assert send(cast.own, now + dt.timedelta(minutes=9)) == []


def test_five_moves_are_one_mail(cast: Cast, job: Job):
    jobs = [job]
    for n in range(2, 6):
        jobs.append(open_job(cast.own, label=f"Site 0{n}"))
        expect(jobs[-1], cast.own)
    issue(cast.own)
    now = at_local(cast.own, clock.now().date(), 10)
    open_watch(cast.own, now)
    for each in jobs:
        move(each, cast.own, 1, now)
    messages = [m for m in send(cast.own, now + dt.timedelta(minutes=4)) if "manager@own" in m.to[0]]
    assert len(messages) == 1
    assert messages[0].subject == "5 pools: a date has moved"
    assert len(re.findall(r"^- Site 0\d, job \d+: full on", messages[0].body, re.MULTILINE)) == 5


def test_two_moves_are_told_as_one_and_a_move_back_is_not_told(cast: Cast, job: Job):
    now = at_local(cast.own, clock.now().date(), 10)
    open_watch(cast.own, now)
    old = stint_of(job, cast.own, Stage.FILL_END).starts.astimezone(cast.own.contractor.tz).date()
    move(job, cast.own, 2, now)
    move(job, cast.own, 1, now + dt.timedelta(minutes=1))
    [owner] = [m for m in send(cast.own, now + dt.timedelta(minutes=6)) if OWNER in m.to[0]]
    new = old + dt.timedelta(days=3)
    assert f"on {new:%A} {new.day} {new:%B}, not on {old:%A} {old.day} {old:%B}" in owner.body
    move(job, cast.own, -3, now + dt.timedelta(minutes=7))
    move(job, cast.own, 3, now + dt.timedelta(minutes=8))
    assert send(cast.own, now + dt.timedelta(minutes=12)) == []
    assert {row.why for row in rows(cast.own, state=NoticeState.SKIPPED)} == {"moved_back", "moved_again"}


def test_mail_free_hours_hold_a_mail_until_the_morning_of_the_receiver(cast: Cast, job: Job):
    evening = at_local(cast.own, clock.now().date(), 22)
    open_watch(cast.own, evening)
    move(job, cast.own, 2, evening)
    assert send(cast.own, evening + dt.timedelta(hours=1)) == []
    morning = at_local(cast.own, clock.now().date() + dt.timedelta(days=1), 7, 1)
    assert OWNER in to(send(cast.own, morning))


def test_while_the_pool_fills_the_crew_lead_is_told_when_to_be_there_even_at_night(cast: Cast, job: Job):
    start = stint_of(job, cast.own, Stage.FILL_START)
    open_watch(cast.own, start.starts)
    begun = start.starts
    with clock.clock_at(begun), acting_for(cast.own.contractor.pk):
        job_move(job, JobState.UNDER_WAY, by=cast.own.office)
        site_log(job, kind=LogKind.HOSE, by=cast.own.crew_lead, at=begun, data={"action": "started", "hoses": 1})
    now = begun + dt.timedelta(minutes=10)
    messages = [m for m in told(cast.own, now) if "running" in m.subject]
    assert to(messages) == [CREW, OWNER]
    owner = next(m for m in messages if OWNER in m.to[0])
    assert "nine chances in ten by" in owner.body
    assert "keep the gate shut" in owner.body
    notice = rows(cast.own, kind=NoticeKind.FILLING)[0]
    by = dt.datetime.fromisoformat(notice.facts["by"])
    assert [m for m in told(cast.own, by - dt.timedelta(hours=4)) if "be there" in m.subject] == []
    [again] = [m for m in told(cast.own, by - dt.timedelta(hours=2, minutes=50)) if "be there" in m.subject]
    assert to([again]) == [CREW]
    assert [m for m in told(cast.own, by - dt.timedelta(hours=2)) if "be there" in m.subject] == []


def test_a_plaster_day_in_doubt_is_told_once_for_each_word(cast: Cast, job: Job):
    plaster = stint_of(job, cast.own, Stage.PLASTER)
    day = plaster.starts.astimezone(cast.own.contractor.tz).date()
    now = at_local(cast.own, day - dt.timedelta(days=3), 9)
    open_watch(cast.own, now)
    verdict = {
        "day": day.isoformat(),
        "word": "doubtful",
        "why": "air 2.0 C, must stay at or above 4.4 C",
        "share": 0.6,
    }
    with acting_for(cast.own.contractor.pk):
        ExpectedDates.objects.update(verdicts=[verdict])
    messages = [m for m in told(cast.own, now) if "doubt" in m.subject]
    assert OFFICE in to(messages)
    assert OWNER not in to(messages)
    assert "doubtful whether anybody can plaster" in messages[0].body
    doubt = [m for m in told(cast.own, now + dt.timedelta(minutes=5)) if "doubt" in m.subject]
    assert doubt == []
    with acting_for(cast.own.contractor.pk):
        ExpectedDates.objects.update(verdicts=[{**verdict, "word": "cannot plaster"}])
    again = [m for m in told(cast.own, now + dt.timedelta(minutes=10)) if "doubt" in m.subject]
    assert "nobody can plaster" in again[0].body


def filled_job(job: Job, firm: FirmCast) -> tuple[Job, dt.date]:
    """The pool is full on the planned day; start-up visits stand as planned."""
    with acting_for(firm.contractor.pk):
        visit = Stint.objects.filter(job=job, stage=Stage.START_UP).order_by("starts").first()
        assert visit is not None
        day = visit.starts.astimezone(job.site.tz).date()
        number = int(visit.key.removeprefix("startup_"))
        Job.objects.filter(pk=job.pk).update(
            state=JobState.FIRST_MONTH, filled_on=day - dt.timedelta(days=number)
        )  # fmt: skip
    return job, day


def test_a_water_test_is_asked_for_in_the_morning_and_missed_in_the_evening(cast: Cast, job: Job):
    job, day = filled_job(job, cast.own)
    open_watch(cast.own, at_local(cast.own, day, 5))
    morning = [m for m in told(cast.own, at_local(cast.own, day, 7, 5)) if "water test" in m.subject]
    assert to(morning) == [CREW]
    evening = [m for m in told(cast.own, at_local(cast.own, day, 18, 5)) if "water test" in m.subject]
    assert to(evening) == [CREW, OFFICE]
    assert "is not logged" in evening[0].body


def test_a_logged_water_test_is_asked_for_no_more(cast: Cast, job: Job):
    job, day = filled_job(job, cast.own)
    open_watch(cast.own, at_local(cast.own, day, 5))
    look(cast.own, at_local(cast.own, day, 7, 5))
    readings = {"temp_c": 20, "ph": 7.6, "calcium_hardness_mg_l": 200, "total_alkalinity_mg_l": 90, "tds_mg_l": 500}
    with acting_for(cast.own.contractor.pk):
        WaterTest.objects.create(job=job, at=at_local(cast.own, day, 7, 6), by="cast", **readings)
    assert [m for m in send(cast.own, at_local(cast.own, day, 7, 10)) if "water" in m.subject] == []
    assert [row.why for row in rows(cast.own, kind=NoticeKind.WATER_TEST)] == ["tested"]
    assert [m for m in told(cast.own, at_local(cast.own, day, 18, 5)) if "water" in m.subject] == []


def test_a_pool_owner_hears_on_the_morning_of_each_duty(cast: Cast, job: Job):
    job, _day = filled_job(job, cast.own)
    with acting_for(cast.own.contractor.pk):
        filled_on = Job.objects.get(pk=job.pk).filled_on
    assert filled_on is not None
    first = filled_on + dt.timedelta(days=1)
    open_watch(cast.own, at_local(cast.own, first, 7))
    [message] = [m for m in told(cast.own, at_local(cast.own, first, 8, 2)) if OWNER in m.to[0]]
    assert "brushed" in message.body
    assert told(cast.own, at_local(cast.own, first, 8, 7)) == []


def test_the_office_reads_the_day_at_half_past_six_of_its_own_morning(cast: Cast, job: Job):
    day = stint_of(job, cast.own, Stage.PLASTER).starts.astimezone(cast.own.contractor.tz).date()
    open_watch(cast.own, at_local(cast.own, day, 6))
    assert told(cast.own, at_local(cast.own, day, 6, 25)) == []
    messages = told(cast.own, at_local(cast.own, day, 6, 30))
    assert OFFICE in to(messages)
    body = next(m for m in messages if OFFICE in m.to[0]).body
    assert "apply and trowel at Site 01, plaster crew of own" in body


def test_a_missed_morning_is_caught_up_until_noon_and_then_said_to_be_skipped(cast: Cast, job: Job):
    day = clock.now().astimezone(cast.own.contractor.tz).date() + dt.timedelta(days=1)
    open_watch(cast.own, at_local(cast.own, day, 2))
    assert OFFICE in to(told(cast.own, at_local(cast.own, day, 11)))
    second = day + dt.timedelta(days=1)
    open_watch(cast.own, at_local(cast.own, second, 2))
    assert OFFICE not in to(told(cast.own, at_local(cast.own, second, 13)))
    assert {row.why for row in rows(cast.own, kind=NoticeKind.DIGEST, cause=second.isoformat())} == {"late"}


@pytest.mark.parametrize("night", [dt.date(2027, 3, 14), dt.date(2027, 11, 7)])
def test_on_the_nights_of_the_clock_change_one_digest_comes_at_half_past_six(cast: Cast, night: dt.date):
    """America/New_York changes on 14 March and 7 November 2027 (IANA time zone database)."""
    tz = cast.own.contractor.tz
    begin = at_local(cast.own, night - dt.timedelta(days=1), 20)
    open_watch(cast.own, begin)
    found = []
    for five in range(12 * 16):  # beat comes every five minutes, through the night
        now = begin + dt.timedelta(minutes=5 * five)
        found += [now.astimezone(tz) for m in told(cast.own, now) if OFFICE in m.to[0] and "at a glance" in m.subject]
    assert [f"{at:%Y-%m-%d %H:%M}" for at in found] == [f"{night} 06:30"]


def test_two_beats_at_once_look_once(cast: Cast, job: Job):
    now = clock.now()
    open_watch(cast.own, now)
    look(cast.own, now + dt.timedelta(minutes=5))
    with acting_for(cast.own.contractor.pk), connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM pg_locks WHERE locktype = 'advisory'")
        held = cursor.fetchone()[0]
    assert held >= 1  # the turn is kept until the transaction ends
    notices_look_task.run()
    notices_look_task.run()
    keys = [(row.kind, row.subject_id, row.receiver_id, row.cause) for row in rows(cast.own)]
    assert len(keys) == len(set(keys))


def test_what_is_refused_by_wish_is_not_told_and_what_is_stopped_by_a_click_is_no_more(cast: Cast, job: Job):
    now = at_local(cast.own, clock.now().date(), 10)
    open_watch(cast.own, now)
    with acting_for(cast.own.contractor.pk):
        key = ("member", cast.own.manager.pk)
        who = addressees(cast.own.contractor, receivers_of([key]).values())[receivers_of([key])[key].pk]
        wishes_set(who, by=cast.own.manager, wishes={NoticeKind.MOVED: False})
    move(job, cast.own, 2, now)
    later = now + dt.timedelta(minutes=4)
    assert "manager@own.example" not in to(send(cast.own, later))
    with acting_for(cast.own.contractor.pk):
        owner = Receiver.objects.get(kind="pool_owner")
        notices_stop(addressees(cast.own.contractor, [owner])[owner.pk], NoticeKind.MOVED)
        assert not PoolOwner.objects.get(pk=owner.subject_id).wants_notices
    move(job, cast.own, 1, later)
    assert OWNER not in to(send(cast.own, later + dt.timedelta(minutes=4)))


def test_a_pool_owner_without_an_address_is_listed_as_not_told(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        PoolOwner.objects.filter(pk=job.pool_owner_id).update(email="")
    now = at_local(cast.own, clock.now().date(), 10)
    open_watch(cast.own, now)
    move(job, cast.own, 2, now)
    assert OWNER not in to(send(cast.own, now + dt.timedelta(minutes=4)))
    assert "no_address" in {row.why for row in rows(cast.own, kind=NoticeKind.MOVED)}


def test_a_job_called_off_silences_what_waits(cast: Cast, job: Job):
    now = at_local(cast.own, clock.now().date(), 10)
    open_watch(cast.own, now)
    move(job, cast.own, 2, now)
    with acting_for(cast.own.contractor.pk):
        job_move(job, JobState.CALLED_OFF, by=cast.own.office)
    assert send(cast.own, now + dt.timedelta(minutes=4)) == []
    assert {row.why for row in rows(cast.own, kind=NoticeKind.MOVED)} == {"called_off"}


def test_no_firm_sees_anothers_notices(cast: Cast, job: Job):
    now = clock.now()
    open_watch(cast.own, now)
    move(job, cast.own, 2, now)
    with acting_for(cast.other.contractor.pk):
        assert Notice.objects.count() == 0
        assert Contractor.objects.count() == 2
