"""What phones send later, asked of the service directly: each id once, the same answer again, both versions shown."""

from __future__ import annotations

import datetime as dt
import json
import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from jobs.models import Job, JobState, SiteLog
from scheduling.models import Outcome, PhoneEntry, Stint
from scheduling.selectors.site_conflicts import stints_seen
from scheduling.services.plans import stint_mark
from scheduling.services.site_work import work_done
from shared import clock
from shared.phone_keys import phone_keys, phone_owner
from shared.tenancy.context import acting_for
from tests.cast import Cast, client_of
from tests.scheduling.on_site import job_under_way, set_state, stint_at

DOOR = "/site/queue/"


@pytest.fixture
def job(cast: Cast) -> Job:
    return job_under_way(cast.own)


@pytest.fixture
def stint(cast: Cast, job: Job) -> Stint:
    now = clock.now()
    return stint_at(job, cast.own, "prep", now - dt.timedelta(hours=5), now + dt.timedelta(hours=3))


@pytest.fixture
def lead(cast: Cast) -> Client:
    return client_of(cast.own.crew_lead)


def entry(cast: Cast, address: str, fields: dict[str, Any], **more: Any) -> dict[str, Any]:
    """One entry as the phone sends it."""
    now = clock.now()
    return {
        "client_id": str(uuid.uuid4()),
        "owner": phone_owner(cast.own.crew_lead),
        "address": address,
        "fields": [[name, str(value)] for name, value in fields.items()],
        "said": "Said on the phone",
        "at": now.isoformat(),
        "sent_at": now.isoformat(),
        "seen": {},
        **more,
    }


def note(cast: Cast, job: Job, text: str = "the gate sticks", **more: Any) -> dict[str, Any]:
    return entry(cast, reverse("log", args=[job.pk]), {"kind": "note", "text": text}, **more)


def done(cast: Cast, stint: Stint, hours: float = 6, **more: Any) -> dict[str, Any]:
    return entry(cast, reverse("stint-done", args=[stint.pk]), {"what": "done", "hours": hours}, **more)


def send(client: Client, body: dict[str, Any]) -> Any:
    return client.post(DOOR, json.dumps(body), content_type="application/json", headers={"accept": "application/json"})


def logs(cast: Cast, job: Job, **wanted: Any) -> list[SiteLog]:
    with acting_for(cast.own.contractor.pk):
        return list(SiteLog.objects.filter(job=job, **wanted).order_by("taken_at"))


def seen(cast: Cast, job: Job) -> dict[str, Any]:
    with acting_for(cast.own.contractor.pk):
        return stints_seen(job)


def test_an_entry_is_taken_once_and_told_the_same_again(cast, job, lead):
    body = note(cast, job)
    first, again = send(lead, body), send(lead, body)
    assert first.status_code == again.status_code == 200
    assert first.json() == again.json() == {"outcome": "kept", "next": reverse("start-up", args=[job.pk])}
    kept = logs(cast, job, kind="note")
    assert [str(log.client_id) for log in kept] == [body["client_id"]]


def test_an_id_that_stood_for_something_else_is_refused(cast, job, lead):
    body = note(cast, job)
    send(lead, body)
    answer = send(lead, {**body, "fields": [["kind", "note"], ["text", "another note"]]})
    assert answer.status_code == 422 and answer.json()["words"] == ["This id was used for another entry."]
    assert len(logs(cast, job)) == 1


def test_another_member_may_not_send_it(cast, job):
    answer = send(client_of(cast.own.office), note(cast, job))
    assert answer.status_code == 403 and answer.json() == {"outcome": "other"}
    assert not logs(cast, job)


def test_the_other_firm_finds_no_job_of_ours(cast, job):
    body = {**note(cast, job), "owner": phone_owner(cast.other.crew_lead)}
    answer = send(client_of(cast.other.crew_lead), body)
    assert answer.status_code == 404 and answer.json()["outcome"] == "gone"
    left = send(client_of(cast.other.crew_lead), {**body, "choice": "leave"})
    assert left.json() == {"outcome": "set_aside"}
    with acting_for(cast.other.contractor.pk):
        assert PhoneEntry.objects.get().job is None
    assert not logs(cast, job)


def test_whoever_is_not_logged_in_is_told_so_and_nothing_is_taken(cast, job):
    answer = send(Client(), note(cast, job))
    assert answer.status_code == 401 and answer.json()["outcome"] == "login"
    assert not logs(cast, job)


def test_a_post_without_the_token_of_the_page_is_refused(cast, job):
    strict = client_of(cast.own.crew_lead)
    strict.handler.enforce_csrf_checks = True
    assert send(strict, note(cast, job)).status_code == 403
    token = strict.get(DOOR).json()["csrf"]
    answer = strict.post(
        DOOR, json.dumps(note(cast, job)), content_type="application/json", headers={"x-csrftoken": token}
    )
    assert answer.status_code == 200


def test_the_key_is_handed_to_its_member_alone_and_follows_the_older_installation_key(cast, settings):
    lead, office = cast.own.crew_lead, cast.own.office
    first = phone_keys(lead)[0]
    assert first.key not in {one.key for one in phone_keys(office)}
    assert client_of(lead).get(DOOR).json()["owners"] == [{"owner": first.owner, "key": first.key}]
    settings.SECRET_KEY_FALLBACKS, settings.SECRET_KEY = [settings.SECRET_KEY], "a new one"
    owners = client_of(lead).get(DOOR).json()["owners"]
    assert owners[1] == {"owner": first.owner, "key": first.key} and owners[0]["owner"] != first.owner


def test_the_tap_counts_when_it_was_made(cast, job, lead):
    tapped = clock.now() - dt.timedelta(hours=5)
    send(lead, note(cast, job, at=tapped.isoformat()))
    assert logs(cast, job)[0].at == tapped


def test_a_phone_whose_clock_is_off_is_put_right_by_what_it_is_off(cast, job, lead):
    ahead, hour = dt.timedelta(hours=3), dt.timedelta(hours=1)
    phone = clock.now() + ahead
    send(lead, note(cast, job, at=(phone - hour).isoformat(), sent_at=phone.isoformat()))
    assert logs(cast, job)[0].at == clock.now() - hour


def test_a_typed_clock_time_belongs_to_the_day_of_the_tap(cast, job, stint, lead):
    tapped = clock.now() - dt.timedelta(days=2)
    local = tapped.astimezone(job.site.tz)
    fields = {"what": "different", "text": "late", "at_clock": f"{local.hour}:{local.minute:02d}"}
    body = entry(cast, reverse("stint-done", args=[stint.pk]), fields, at=tapped.isoformat(), seen=seen(cast, job))
    assert send(lead, body).status_code == 200
    assert logs(cast, job)[0].at == tapped.replace(second=0, microsecond=0)


def test_an_entry_of_months_ago_is_refused_with_its_age(cast, job, lead):
    answer = send(lead, note(cast, job, at=(clock.now() - dt.timedelta(days=70)).isoformat()))
    assert answer.status_code == 422 and "60 days" in answer.json()["words"][0]
    assert not logs(cast, job)


def test_what_the_page_refuses_is_refused_in_its_words_and_may_be_sent_right(cast, job, stint, lead):
    body = entry(cast, reverse("stint-done", args=[stint.pk]), {"what": "different", "hours": 99, "text": "a <b> c"})
    answer = send(lead, body)
    assert answer.status_code == 422
    assert answer.json() == {"outcome": "refused", "words": ["Hours so far is 99 h; allowed is 0 to 24 h."]}
    page = send(lead, {**body, "looking": True}).json()["page"]
    assert 'value="99"' in page and "a &lt;b&gt; c" in page
    assert not logs(cast, job)
    with acting_for(cast.own.contractor.pk):
        assert not PhoneEntry.objects.exists()
    assert send(lead, {**body, "fields": [["what", "different"], ["hours", "9"]]}).status_code == 200


def test_a_refused_entry_that_is_left_out_is_kept_as_it_was_typed(cast, job, stint, lead):
    body = entry(cast, reverse("log", args=[job.pk]), {"kind": "hose", "action": "moved", "hoses": 99})
    send(lead, body)
    assert send(lead, {**body, "choice": "leave"}).json() == {"outcome": "set_aside"}
    assert not logs(cast, job)
    with acting_for(cast.own.contractor.pk):
        left = PhoneEntry.objects.get()
    assert left.outcome == Outcome.SET_ASIDE and ["hoses", "99"] in left.fields and left.job_id == job.pk
    page = lead.get(reverse("stint-done", args=[stint.pk])).content.decode()
    assert "left aside" in page and "Said on the phone" in page


def test_a_stint_that_somebody_else_closed_shows_both_versions(cast, job, stint, lead):
    before = seen(cast, job)
    with acting_for(cast.own.contractor.pk):
        stint.job = job
        work_done(stint, hours=5.5, by=cast.own.office, at=clock.now(), client_id=uuid.uuid4())
    body = done(cast, stint, 6, seen=before)
    answer = send(lead, body)
    told = answer.json()
    assert answer.status_code == 409 and told["why"] == "closed" and told["choices"] == ["keep", "leave"]
    assert "5.5 h worked." in told["theirs"] and "office of own" in told["theirs"]
    assert len(logs(cast, job, kind="done")) == 1
    kept = send(lead, {**body, "choice": "keep", "version": told["version"]})
    assert kept.json()["outcome"] == "kept"
    assert sorted(log.data["hours"] for log in logs(cast, job, kind="done")) == [5.5, 6.0]
    with acting_for(cast.own.contractor.pk):
        assert Stint.objects.get(pk=stint.pk).hours_worked == 5.5


def test_a_choice_about_an_older_version_is_asked_again(cast, job, stint, lead):
    before = seen(cast, job)
    with acting_for(cast.own.contractor.pk):
        stint.job = job
        stint_mark(stint, "done", at=clock.now(), by=cast.own.office, hours=5)
    body = done(cast, stint, 6, seen=before)
    first = send(lead, body).json()
    with acting_for(cast.own.contractor.pk):
        Stint.objects.filter(pk=stint.pk).update(hours_worked=7)
    answer = send(lead, {**body, "choice": "keep", "version": first["version"]})
    assert answer.status_code == 409 and "7 h worked." in answer.json()["theirs"]


def test_a_stint_that_was_moved_shows_where_it_was_and_where_it_is(cast, job, stint, lead):
    before = seen(cast, job)
    day = dt.timedelta(days=2)
    with acting_for(cast.own.contractor.pk):
        Stint.objects.filter(pk=stint.pk).update(starts=stint.starts + day, ends=stint.ends + day)
    body = done(cast, stint, 6, seen=before)
    told = send(lead, body).json()
    assert told["why"] == "moved" and told["mine"] != told["theirs"]
    assert all(told[side].startswith("prep crew of own, ") for side in ("mine", "theirs"))
    left = send(lead, {**body, "choice": "leave", "version": told["version"]})
    assert left.json() == {"outcome": "set_aside"} and not logs(cast, job)
    assert send(lead, body).json() == {"outcome": "set_aside"}


def test_work_on_a_stint_that_gave_way_to_another_counts_for_the_one_that_took_its_place(cast, job, stint, lead):
    before = seen(cast, job)
    day = dt.timedelta(days=1)
    with acting_for(cast.own.contractor.pk):
        Stint.objects.filter(pk=stint.pk).update(state="dropped")
    new = stint_at(job, cast.own, "prep", stint.starts + day, stint.ends + day)
    body = done(cast, stint, 6, seen=before)
    told = send(lead, body).json()
    assert told["why"] == "moved"
    assert send(lead, {**body, "choice": "keep", "version": told["version"]}).json()["outcome"] == "kept"
    with acting_for(cast.own.contractor.pk):
        assert Stint.objects.get(pk=new.pk).state == "done"


def test_work_on_a_dropped_stint_can_stay_as_a_note(cast, job, stint, lead):
    before = seen(cast, job)
    with acting_for(cast.own.contractor.pk):
        Stint.objects.filter(pk=stint.pk).update(state="dropped")
    body = done(cast, stint, 6, seen=before)
    told = send(lead, body).json()
    assert told["why"] == "dropped" and told["choices"] == ["note", "leave"]
    assert send(lead, {**body, "choice": "note", "version": told["version"]}).json() == {"outcome": "note"}
    assert [log.data["text"] for log in logs(cast, job, kind="note")] == ["Logged without signal: Said on the phone"]


def test_a_job_that_was_called_off_takes_nothing_but_a_note(cast, job, lead):
    set_state(job, cast.own, state=JobState.CALLED_OFF)
    told = send(lead, note(cast, job)).json()
    assert told["why"] == "called off" and told["theirs"] == "The job was called off."


def test_a_pool_that_somebody_else_called_full_is_not_called_full_again(cast, job, lead):
    set_state(job, cast.own, state=JobState.FIRST_MONTH, filled_on=clock.now().date())
    told = send(lead, entry(cast, reverse("log", args=[job.pk]), {"kind": "full"})).json()
    assert told["why"] == "closed" and told["choices"] == ["note", "leave"]


def test_a_section_that_somebody_else_logged_is_asked_about(cast, job, lead):
    now = clock.now()
    stint_at(job, cast.own, "plaster", now, now + dt.timedelta(hours=6))
    laid = {"kind": "laid", "section": 3}
    first = entry(cast, reverse("log", args=[job.pk]), laid, seen=seen(cast, job))
    assert send(lead, first).status_code == 200
    told = send(lead, entry(cast, reverse("log", args=[job.pk]), laid, seen=seen(cast, job))).json()
    assert told["why"] == "logged" and "crew_lead of own" in told["theirs"]
    assert len(logs(cast, job, kind="laid")) == 1


def test_own_entries_that_begin_a_stint_are_no_conflict_for_those_that_follow(cast, job, lead):
    now = clock.now()
    stint_at(job, cast.own, "plaster", now, now + dt.timedelta(hours=6))
    before = seen(cast, job)
    for section in (1, 2, 3):
        body = entry(cast, reverse("log", args=[job.pk]), {"kind": "laid", "section": section}, seen=before)
        assert send(lead, body).json()["outcome"] == "kept"


@pytest.mark.parametrize(
    "address",
    ["/login/", "/jobs/new/", "/site/queue/", "/site/day/", "/nowhere/", "https://elsewhere.example/site/", ""],
)
def test_only_pages_used_on_site_take_entries(cast, lead, address):
    answer = send(lead, entry(cast, address, {"kind": "note", "text": "x"}))
    assert answer.status_code == 404 and answer.json()["outcome"] == "gone"


@pytest.mark.parametrize(
    "change",
    [
        {"client_id": "no id"},
        {"at": "yesterday"},
        {"at": "2026-04-15T10:00:00"},
        {"fields": "text"},
        {"fields": [["a", "b\x00c"]]},
        {"fields": [["a", "b"]] * 100},
        {"choice": "perhaps"},
        {"seen": {"prep": {"starts": "soon", "ends": "later", "crew": "x"}}},
        {"seen": [1, 2]},
        {"said": "x" * 100_000},
    ],
)
def test_what_cannot_be_read_is_refused_in_a_sentence(cast, job, lead, change):
    answer = send(lead, {**note(cast, job), **change})
    assert answer.status_code == 400 and answer.json()["words"] == ["The entry cannot be read."]
    assert not logs(cast, job)


def test_the_worker_is_served_for_the_whole_site_and_never_kept_by_the_browser(client, db):
    answer = client.get("/worker.js")
    assert answer["Service-Worker-Allowed"] == "/" and "no-cache" in answer["Cache-Control"]
    assert answer["Content-Type"].startswith("text/javascript")


def test_the_manifest_and_the_page_without_signal_name_nobody(cast):
    lead = client_of(cast.own.crew_lead)
    told = lead.get("/manifest.webmanifest").json()
    assert told["start_url"] == "/today/" and told["scope"] == "/"
    assert {icon["purpose"] for icon in told["icons"]} == {"any", "maskable"}
    page = lead.get("/no-signal/").content.decode()
    assert "crew_lead" not in page and "Own Basin" not in page and "Sin señal" in page


def test_the_phone_is_told_which_pages_to_keep(cast, job, stint, lead):
    with acting_for(cast.own.contractor.pk):
        cast.own.crews["prep"].lead = cast.own.crew_lead
        cast.own.crews["prep"].save(update_fields=["lead"])
    told = lead.get("/site/day/").json()
    assert told["pages"][0] == "/today/" and reverse("stint-done", args=[stint.pk]) in told["pages"]
    assert told["owner"] == phone_owner(cast.own.crew_lead)


def test_pages_used_on_site_stay_on_the_phone_of_their_member_only(cast, job, lead):
    answer = lead.get("/today/")
    assert answer["Cache-Control"] == "private, no-store" and answer["X-Kept-For"] == phone_owner(cast.own.crew_lead)
