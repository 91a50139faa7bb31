"""What is told to whom and when: from issued facts, once by its cause, outside mail-free hours, by the firm's words."""

from __future__ import annotations

import datetime as dt
import email
import email.policy
import re
from typing import Any

import pytest
from django.core import mail
from django.core.exceptions import ValidationError
from django.db import connection

from jobs.models import ExpectedDates, Job, JobState, LogKind, PoolOwner, WaterTest
from jobs.services.states import job_move
from scheduling.models import (
    CalendarEntry,
    Mail,
    Notice,
    NoticeKind,
    NoticeState,
    NoticeText,
    NoticeWatch,
    Receiver,
    Stage,
    Stint,
)
from scheduling.notice_tasks import mails_task, notices_look_task
from scheduling.notice_texts import Words, filled, html_body, subject_line, text_body, words_checked
from scheduling.selectors.receivers import addressees
from scheduling.services.calendars import calendar_refresh
from scheduling.services.mail_writing import footer_of
from scheduling.services.notices import notices_look
from scheduling.services.receivers import notices_stop, receivers_of, wishes_set
from scheduling.services.site_work import site_log
from shared import clock
from shared.models import Contractor, OutgoingState
from shared.post import bytes_of
from shared.tenancy.context import acting_for
from tests.cast import Cast, FirmCast, expect, issue, open_job, propose

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


def test_the_message_carries_what_the_standards_ask(cast: Cast, job: Job):
    """RFC 8058 (one-click), RFC 2369 (List-Unsubscribe), RFC 3834 (Auto-Submitted), RFC 5322 (Message-ID)."""
    now = at_local(cast.own, clock.now().date(), 10)
    open_watch(cast.own, now)
    move(job, cast.own, 2, now)
    message = next(m for m in send(cast.own, now + dt.timedelta(minutes=4)) if OWNER in m.to[0])
    parsed = email.message_from_bytes(bytes_of(message), policy=email.policy.default)
    assert parsed["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert re.fullmatch(r"<http://\S+/notices/for/\S+/stop/\?kind=moved>", parsed["List-Unsubscribe"].strip())
    assert parsed["Auto-Submitted"] == "auto-generated"
    with acting_for(cast.own.contractor.pk):
        row = Mail.objects.get(to=OWNER)
    assert parsed["Message-ID"] == row.message_id
    assert (row.state, row.attempts, row.repeats) == (OutgoingState.SENT, 1, 0)
    assert parsed["From"].startswith("Own Basin Works <")
    text, html = parsed.get_body(("plain",)), parsed.get_body(("html",))
    assert text is not None
    assert html is not None
    assert "Your pool will be full on" in text.get_content()
    assert "Your pool will be full on" in html.get_content()
    assert max(len(line) for line in bytes_of(message).split(b"\r\n")) <= 998


def test_a_spanish_pool_owner_reads_spanish(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        PoolOwner.objects.filter(pk=job.pool_owner_id).update(language="es")
    now = at_local(cast.own, clock.now().date(), 10)
    open_watch(cast.own, now)
    move(job, cast.own, 2, now)
    message = next(m for m in send(cast.own, now + dt.timedelta(minutes=4)) if OWNER in m.to[0])
    for english in ("Your pool", "Hello", "Why", "You get this", "Choose or stop"):
        assert english not in message.body
    assert "piscina" in message.body


def test_a_firms_own_words_are_used_and_its_placeholders_filled(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        words = words_checked("News of {site} from {firm}", "Dear {name},\n\n{lines}\n\nYours, {firm}")
        NoticeText.objects.create(kind="moved", language="en", subject=words.subject, body=words.body)
    now = at_local(cast.own, clock.now().date(), 10)
    open_watch(cast.own, now)
    move(job, cast.own, 2, now)
    message = next(m for m in send(cast.own, now + dt.timedelta(minutes=4)) if OWNER in m.to[0])
    assert message.subject == "News of Site 01 from Own Basin Works"
    assert message.body.startswith("Dear Pool owner of Site 01,\n\nYour pool will be full")


@pytest.mark.parametrize(
    ("subject", "body", "said"),
    [
        ("", "{lines}", "it is empty"),
        ("{secret}", "{lines}", "“{secret}” is no placeholder here; allowed are {firm}, {site}, {day}"),
        ("x", "{lines} {lines}", "must stand once"),
        ("x", "no list", "must stand once"),
        ("x", "{lines}\n\n{request}", "“{request}” is no placeholder"),
        ("x" * 161, "{lines}", "161 characters; at most 160"),
    ],
)
def test_words_that_cannot_be_used_are_refused_with_what_is_allowed(subject: str, body: str, said: str):
    with pytest.raises(ValidationError) as refused:
        words_checked(subject, body)
    assert said in str(refused.value)


def test_placeholders_run_no_code_and_values_are_not_looked_at_again():
    assert filled("{name} {firm.__class__} {% now %} {{ x }}", {"name": "{firm}", "firm": "F"}) == (
        "{firm} {firm.__class__} {% now %} {{ x }}"
    )
    assert subject_line(Words("{site}", "x"), {"site": "a\r\nBcc: all@cast.example"}) == "a Bcc: all@cast.example"


def test_markup_in_a_name_stays_text(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        receiver = receivers_of([("pool_owner", job.pool_owner_id)])[("pool_owner", job.pool_owner_id)]
        who = addressees(cast.own.contractor, [receiver])[receiver.pk]
        footer = footer_of(cast.own.contractor, who, "moved")
    values = {"name": "<script>alert(1)</script>", "firm": "A & B", "phone": "", "page": "https://a.example/?x=1&y=2"}
    words = Words("s", "Hello {name},\n\n{lines}\n\n{page}\n\n{firm}, {phone}")
    html = html_body(words, ["<b>one</b>", "two"], values, footer, "en", "<t>")
    assert "<script>" not in html
    assert "<b>" not in html
    assert 'href="https://a.example/?x=1&amp;y=2"' in html
    text = text_body(words, ["<b>one</b>"], values, footer.lines)
    assert "A & B\n\n-- \n" in text


def test_no_firm_sees_anothers_notices(cast: Cast, job: Job):
    now = clock.now()
    open_watch(cast.own, now)
    move(job, cast.own, 2, now)
    with acting_for(cast.other.contractor.pk):
        assert Notice.objects.count() == 0
        assert Contractor.objects.count() == 2
