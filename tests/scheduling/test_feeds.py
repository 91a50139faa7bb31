from __future__ import annotations

import datetime as dt
import gzip
import re
from collections.abc import Iterator

import icalendar
import pytest
import vobject
from django.test import Client
from django.urls import reverse
from django.utils.html import escape

from jobs.models import ExpectedDates, Job, JobState
from jobs.services.states import date_promise, job_move
from scheduling.models import FILL, CalendarEntry, Stage, Stint, StintState
from scheduling.services.calendars import calendar_refresh
from scheduling.services.plans import stint_mark
from scheduling.views.feeds import MOST_A_MINUTE
from shared import clock
from shared.models import AccessToken, TokenKind
from shared.services import counting
from shared.services.lockout import LIMIT_ADDRESS
from shared.services.tokens import token_for, token_revoke, token_rotate
from shared.tenancy.context import acting_for
from tests.cast import PASSWORD, Cast, FirmCast, client_of, expect, issue, open_job


@pytest.fixture
def job(cast: Cast) -> Job:
    found = open_job(cast.own)
    expect(found, cast.own)
    issue(cast.own)
    return found


def link(firm: FirmCast, purpose: str, subject_id=None) -> AccessToken:
    with acting_for(firm.contractor.pk):
        return token_for(TokenKind.FEED, purpose, subject_id)


def fetch(token: AccessToken, **headers: str):
    return Client().get(reverse("feed", args=[token.secret]), headers=headers)


def events(token: AccessToken) -> list[icalendar.Event]:
    body = fetch(token).content
    found = list(icalendar.Calendar.from_ical(body).walk("VEVENT"))
    again = list(getattr(vobject.readOne(body.decode()), "vevent_list", []))
    assert [str(event["UID"]) for event in found] == [event.uid.value for event in again]
    for event, other in zip(found, again, strict=True):
        for name in ("dtstart", "dtend"):
            mine, theirs = event.decoded(name), getattr(other, name).value
            same = mine == theirs if not isinstance(mine, dt.datetime) else mine.timestamp() == theirs.timestamp()
            assert same
    return found


def fill_of(token: AccessToken) -> icalendar.Event:
    """The fill day in a pool owner's calendar."""
    [found] = [event for event in events(token) if str(event["SUMMARY"]) == "Pool full"]
    return found


def move_fill(job: Job, firm: FirmCast, days: int) -> None:
    """What issuing a plan with a later fill does to the calendar."""
    with acting_for(firm.contractor.pk):
        for stint in Stint.objects.filter(job=job, stage__in=(Stage.FILL_START, Stage.FILL_END)):
            stint.starts += dt.timedelta(days=days)
            stint.ends += dt.timedelta(days=days)
            stint.save()
        calendar_refresh(firm.contractor, [job], at=clock.now())


def test_the_pool_owner_sees_the_fill_day_and_nothing_of_others(cast: Cast, job: Job):
    other = open_job(cast.own, label="Site 02")
    expect(other, cast.own)
    issue(cast.own)
    event = fill_of(link(cast.own, "pool_owner", job.pk))
    with acting_for(cast.own.contractor.pk):
        end = Stint.objects.get(job=job, stage=Stage.FILL_END)
    assert event.decoded("dtstart") == end.starts.astimezone(job.site.tz).date()
    assert str(event["SUMMARY"]) == "Pool full"
    assert "9 in 10 by" in str(event["DESCRIPTION"])
    body = fetch(link(cast.own, "pool_owner", job.pk)).content.decode()
    for private in ("Site 02", "crew", "Pool owner of", "@cast.example"):
        assert private not in body


def test_the_pool_owner_sees_what_to_do_and_what_must_wait_until_day_28(cast: Cast, job: Job):
    """The same sentences as on the private page, each on its date; all of them move with the fill day."""
    token = link(cast.own, "pool_owner", job.pk)
    fill = fill_of(token).decoded("dtstart")

    def days() -> dict[int, icalendar.Event]:
        return {(event.decoded("dtstart") - fill).days: event for event in events(token)}

    found = days()
    assert "Leave the water running" in str(found[0]["DESCRIPTION"])
    assert "brushed" in str(found[1]["DESCRIPTION"])
    assert "swimming" in " ".join(str(event["DESCRIPTION"]) for event in found.values())
    assert str(found[28]["SUMMARY"]) == "Your pool, day 28"
    assert "hand the water over" in str(found[28]["DESCRIPTION"])
    assert {str(event["STATUS"]) for event in found.values()} == {"TENTATIVE"}
    with acting_for(cast.own.contractor.pk):
        page = Client().get(reverse("pool-owner", args=[token_for(TokenKind.LINK, "pool_owner", job.pk).secret]))
    for event in found.values():
        last = str(event["DESCRIPTION"]).splitlines()[-1]
        assert escape(last) in page.content.decode(), last
    move_fill(job, cast.own, 2)
    fill += dt.timedelta(days=2)
    moved = days()
    assert set(moved) == set(found)
    assert {day: str(event["UID"]) for day, event in moved.items()} == {d: str(e["UID"]) for d, e in found.items()}
    assert {event["SEQUENCE"] for event in moved.values()} == {1}
    assert events(link(cast.own, "crew", cast.own.crews["water"].pk))
    assert len(events(link(cast.own, "firm"))) == 1


def test_a_crews_feed_has_its_stints_to_the_minute(cast: Cast, job: Job):
    crew = cast.own.crews["water"]
    found = events(link(cast.own, "crew", crew.pk))
    with acting_for(cast.own.contractor.pk):
        stints = list(Stint.objects.filter(crew=crew).order_by("starts"))
    assert sorted(event.decoded("dtstart").timestamp() for event in found) == [s.starts.timestamp() for s in stints]
    assert {str(event["STATUS"]) for event in found} == {"CONFIRMED", "TENTATIVE"}  # the drain is held


def test_the_firms_feed_has_every_fill_day_and_a_link_to_the_job(cast: Cast, job: Job):
    [event] = events(link(cast.own, "firm"))
    assert str(event["URL"]).endswith(reverse("job", args=[job.pk]))


def test_a_move_keeps_the_id_and_raises_the_sequence_once(cast: Cast, job: Job):
    token = link(cast.own, "pool_owner", job.pk)
    before = fill_of(token)
    with acting_for(cast.own.contractor.pk):
        assert calendar_refresh(cast.own.contractor, [job], at=clock.now()) == 0
    same = fill_of(token)
    assert same["SEQUENCE"] == before["SEQUENCE"] == 0
    with clock.clock_at(clock.now() + dt.timedelta(hours=1)):
        move_fill(job, cast.own, 2)
    after = fill_of(token)
    assert str(after["UID"]) == str(before["UID"])
    assert after["SEQUENCE"] == 1
    assert after.decoded("last-modified") > before.decoded("last-modified")
    assert after.decoded("created") == before.decoded("created")
    assert after.decoded("dtstart") == before.decoded("dtstart") + dt.timedelta(days=2)


def test_a_job_called_off_is_cancelled_for_sixty_days_and_then_gone(cast: Cast, job: Job):
    token = link(cast.own, "pool_owner", job.pk)
    before = fill_of(token)
    with acting_for(cast.own.contractor.pk):
        job_move(job, JobState.CALLED_OFF, by=cast.own.office)
        calendar_refresh(cast.own.contractor, [job], at=clock.now())
    after = fill_of(token)
    assert (str(after["UID"]), str(after["STATUS"]), after["SEQUENCE"]) == (str(before["UID"]), "CANCELLED", 1)
    with clock.clock_at(clock.now() + dt.timedelta(days=59)):
        assert {str(event["STATUS"]) for event in events(token)} == {"CANCELLED"}
    with clock.clock_at(clock.now() + dt.timedelta(days=61)):
        assert events(link(cast.own, "firm")) == []
        assert fetch(token).status_code == 404  # the pool owner's link ended with it


def test_the_fill_is_confirmed_once_the_plaster_is_on(cast: Cast, job: Job):
    token = link(cast.own, "pool_owner", job.pk)
    assert str(fill_of(token)["STATUS"]) == "TENTATIVE"
    with acting_for(cast.own.contractor.pk):
        plaster = Stint.objects.get(job=job, stage=Stage.PLASTER)
        stint_mark(plaster, StintState.DONE, at=clock.now(), by=cast.own.office)
        calendar_refresh(cast.own.contractor, [job], at=clock.now())
    assert str(fill_of(token)["STATUS"]) == "CONFIRMED"


def test_a_date_is_in_doubt_when_its_band_reaches_past_the_promise(cast: Cast, job: Job):
    token = link(cast.own, "doubt")
    with acting_for(cast.own.contractor.pk):
        band = ExpectedDates.objects.get(job=job).band
        date_promise(job, day=dt.date.fromisoformat(band["p90"]) + dt.timedelta(days=1), by=cast.own.office)
    assert events(token) == []
    with acting_for(cast.own.contractor.pk):
        early = dt.date.fromisoformat(band["p90"]) - dt.timedelta(days=4)
        date_promise(job, day=early, by=cast.own.office)
    assert len(events(token)) == 1


def test_equal_content_has_one_strong_etag_and_is_not_sent_twice(cast: Cast, job: Job):
    token = link(cast.own, "firm")
    first = fetch(token)
    assert first["ETag"].startswith('"')
    assert first["Cache-Control"] == "private, max-age=300"
    assert first["Content-Type"] == "text/calendar; charset=utf-8"
    again = fetch(token, if_none_match=first["ETag"])
    assert (again.status_code, again.content) == (304, b"")
    assert again["ETag"] == first["ETag"]
    with acting_for(cast.own.contractor.pk):
        CalendarEntry.objects.filter(key=FILL).update(sequence=7)
    assert fetch(token, if_none_match=first["ETag"]).status_code == 200


def test_a_head_request_has_the_headers_and_no_body(cast: Cast, job: Job):
    token = link(cast.own, "firm")
    answer = Client().head(reverse("feed", args=[token.secret]))
    assert (answer.status_code, answer.content) == (200, b"")
    assert answer["ETag"] == fetch(token)["ETag"]


def test_a_post_is_refused(cast: Cast):
    assert Client().post(reverse("feed", args=[link(cast.own, "firm").secret])).status_code == 405


@pytest.mark.parametrize("how", ["revoked", "rotated", "expired", "unknown"])
def test_a_secret_that_no_longer_holds_is_not_there(cast: Cast, how: str):
    token = link(cast.own, "firm")
    secret = token.secret
    with acting_for(cast.own.contractor.pk):
        if how == "revoked":
            token_revoke(token)
        elif how == "rotated":
            token_rotate(token)
            assert fetch(token).status_code == 200
        elif how == "expired":
            AccessToken.objects.filter(pk=token.pk).update(expires_at=clock.now())
        else:
            secret = "A" * 43
    assert Client().get(reverse("feed", args=[secret])).status_code == 404


def test_only_the_hash_of_a_secret_is_stored(cast: Cast):
    token = link(cast.own, "firm")
    with acting_for(cast.own.contractor.pk):
        row = AccessToken.objects.filter(pk=token.pk).values().get()
    assert token.secret not in repr(row)


def test_a_private_page_secret_opens_no_feed(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        page = token_for(TokenKind.LINK, "pool_owner", job.pk)
    assert fetch(page).status_code == 404


def test_a_link_asked_too_often_is_told_to_wait(cast: Cast):
    token = link(cast.own, "firm")
    moment = clock.now().replace(second=0)
    with clock.clock_at(moment):
        answers = [fetch(token).status_code for _ in range(MOST_A_MINUTE + 1)]
    assert answers[:-1] == [200] * MOST_A_MINUTE
    assert answers[-1] == 429
    with clock.clock_at(moment + dt.timedelta(minutes=1)):
        assert fetch(token).status_code == 200


def test_the_office_sees_when_a_calendar_last_looked(cast: Cast):
    token = link(cast.own, "firm")
    fetch(token)
    with acting_for(cast.own.contractor.pk):
        token.refresh_from_db()
    assert token.last_used_at is not None


def alarms(token: AccessToken) -> set[dt.timedelta]:
    return {alarm.decoded("trigger") for event in events(token) for alarm in event.walk("VALARM")}


def test_a_pool_owners_calendar_rings_the_day_before_or_when_they_choose_or_not_at_all(cast: Cast, job: Job):
    token = link(cast.own, "pool_owner", job.pk)
    assert alarms(token) == {-dt.timedelta(hours=14)}
    with acting_for(cast.own.contractor.pk):
        page = reverse("pool-owner-alarm", args=[token_for(TokenKind.LINK, "pool_owner", job.pk).secret])
    before = fill_of(token)
    week, evening = -dt.timedelta(days=6, hours=14), -dt.timedelta(hours=6)
    for code, rings in (("week", {week}), ("none", set()), ("evening", {evening})):
        assert Client().post(page, {"alarm": code}).status_code == 302
        assert alarms(token) == rings
    refused = Client().post(page, {"alarm": "hour"})
    assert refused.status_code == 400
    assert "allowed are none, evening, day, two_days, week" in refused.content.decode()
    after = fill_of(token)
    assert (after["SEQUENCE"], after["LAST-MODIFIED"]) == (before["SEQUENCE"], before["LAST-MODIFIED"])


def test_a_crews_calendar_rings_only_where_the_firm_chose_it(cast: Cast, job: Job):
    token = link(cast.own, "crew", cast.own.crews["water"].pk)
    assert alarms(token) == set()
    client = client_of(cast.own.manager)
    client.post(reverse("link-alarm", args=[token.pk]), {"alarm": "hour"})
    assert alarms(token) == {-dt.timedelta(hours=1)}
    assert client_of(cast.own.office).post(reverse("link-alarm", args=[token.pk]), {"alarm": "none"}).status_code == 403


def test_a_feed_travels_packed_to_those_who_ask_for_it_under_a_mark_of_its_own(cast: Cast, job: Job):
    token = link(cast.own, "firm")
    plain, packed = fetch(token), fetch(token, accept_encoding="gzip")
    assert packed["Content-Encoding"] == "gzip"
    assert gzip.decompress(packed.content) == plain.content
    assert packed["ETag"] != plain["ETag"]
    assert "Accept-Encoding" in plain["Vary"]
    for mark in (plain["ETag"], packed["ETag"]):
        again = fetch(token, accept_encoding="gzip", if_none_match=mark)
        assert (again.status_code, again["ETag"]) == (304, packed["ETag"])


def test_the_office_reads_how_long_ago_a_calendar_looked(cast: Cast, job: Job):
    token = link(cast.own, "pool_owner", job.pk)
    page = reverse("job", args=[job.pk])
    client = client_of(cast.own.office)
    assert "Not looked at yet" in client.get(page).content.decode()
    fetch(token)
    with clock.clock_at(clock.now() + dt.timedelta(hours=3)):
        assert "A calendar last looked 3 h ago" in client.get(page).content.decode()


@pytest.fixture
def no_cache(settings) -> Iterator[None]:
    """The cache is away: nothing listens at its address."""
    away = {**settings.CACHES["default"], "LOCATION": "unix:///nowhere/valkey.sock?db=0"}
    settings.CACHES = {"default": away}
    yield
    counting._Away.until = 0.0
    counting._own.clear()


def test_feeds_are_served_and_still_limited_while_the_cache_is_away(cast: Cast, job: Job, no_cache: None):
    token = link(cast.own, "firm")
    moment = clock.now().replace(second=0)
    with clock.clock_at(moment):
        answers = [fetch(token).status_code for _ in range(MOST_A_MINUTE + 1)]
    assert answers == [200] * MOST_A_MINUTE + [429]


def test_logins_work_and_guessing_stays_limited_while_the_cache_is_away(cast: Cast, no_cache: None):
    """Each web process counts for itself: looser than one count for all, never open."""
    said = {"email": "office@own.example", "password": PASSWORD}
    assert Client().post("/login/", said).status_code == 302
    guesses = [
        Client().post("/login/", {**said, "password": f"guess {n}"}).status_code for n in range(LIMIT_ADDRESS + 1)
    ]
    assert guesses == [200] * LIMIT_ADDRESS + [429]
    assert Client().post(reverse("password-forgot"), {"email": "office@own.example"}).status_code == 200


def test_a_fill_that_began_later_than_planned_says_when_it_began_and_is_in_doubt_no_more(cast: Cast, job: Job):
    token, doubt = link(cast.own, "pool_owner", job.pk), link(cast.own, "doubt")
    with acting_for(cast.own.contractor.pk):
        start = Stint.objects.get(job=job, stage=Stage.FILL_START)
        end = Stint.objects.get(job=job, stage=Stage.FILL_END)
        date_promise(job, day=end.starts.astimezone(job.site.tz).date(), by=cast.own.office)
        calendar_refresh(cast.own.contractor, [job], at=clock.now())
    said = str(fill_of(token)["DESCRIPTION"])
    assert re.search(r"Filling starts \w+ \d+ \w+, \d+:\d\d( [ap]m)?, and does not stop", said)
    assert "\nEven chance by " in said
    began = start.starts + dt.timedelta(hours=2)
    with acting_for(cast.own.contractor.pk):
        Stint.objects.filter(pk=start.pk).update(state=StintState.BEGUN, begun_at=began)
        Job.objects.filter(pk=job.pk).update(state=JobState.FILLING)
        calendar_refresh(cast.own.contractor, [job], at=clock.now())
    said = str(fill_of(token)["DESCRIPTION"])
    assert "Filling began" in said
    local = began.astimezone(job.site.tz)
    assert f"{local:%H:%M}" in said or f"{local:%-I:%M}" in said
    assert events(doubt) == []
