"""Log-ins: how long they last, who sees them, who ends them."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection
from django.test import Client

from shared import clock
from shared.models import AuditEntry, Membership, Session, session_hash
from shared.services.sessions import sessions_of
from shared.session_rules import browser_words
from shared.tenancy.context import acting_as, acting_for, working_at
from tests.cast import PASSWORD, Cast, client_of

FIREFOX = "Mozilla/5.0 (X11; Linux x86_64; rv:128.0) Gecko/20100101 Firefox/128.0"
PHONE = "Mozilla/5.0 (Linux; Android 14) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/126.0 Mobile Safari/537.36"


def logged_in(member: Membership, agent: str = FIREFOX, place: str = "203.0.113.7") -> Client:
    client = Client(HTTP_USER_AGENT=agent, REMOTE_ADDR=place)
    answer = client.post("/login/", {"email": member.person.email, "password": PASSWORD})
    assert answer.status_code == 302
    return client


def later(hours: float) -> clock.clock_at:
    return clock.clock_at(clock.now() + dt.timedelta(hours=hours))


def is_in(client: Client, path: str = "/me/") -> bool:
    return client.get(path).status_code == 200


def test_the_desk_logs_in_again_after_a_night_and_a_phone_does_not(cast: Cast):
    desk, manager, phone = (logged_in(m) for m in (cast.own.office, cast.own.manager, cast.own.crew_lead))
    with later(7.9):
        assert is_in(desk)
        assert is_in(manager)
    with later(15):  # 7.1 hours after the last look
        assert is_in(desk)
    with later(24):
        assert not is_in(desk)
        assert not is_in(manager)
        assert is_in(phone)
    with later(13.9 * 24):
        assert is_in(phone)
    with later(14.1 * 24):
        assert not is_in(phone), "the longest life is over, however often it was used"


def test_a_role_may_be_given_less(cast: Cast, settings: Any):
    settings.IDLE_HOURS = {**settings.IDLE_HOURS, "manager": 0.5}
    desk, manager = logged_in(cast.own.office), logged_in(cast.own.manager)
    with later(0.6):
        assert is_in(desk)
        assert not is_in(manager)
        assert manager.get("/me/")["Location"].startswith("/login/")


def test_a_log_in_that_is_over_is_gone_from_the_database(cast: Cast):
    client = logged_in(cast.own.office)
    key = client.cookies["sessionid"].value
    with later(9):
        client.get("/")
    with acting_as(cast.own.office.person_id):
        assert not Session.objects.filter(key_hash=session_hash(key)).exists()


def test_the_database_holds_no_key_and_shows_a_session_to_its_person_alone(cast: Cast):
    client = logged_in(cast.own.office)
    key = client.cookies["sessionid"].value
    assert Session.objects.count() == 0
    with acting_as(cast.own.manager.person_id), acting_for(cast.own.contractor.pk):
        assert Session.objects.count() == 0
        assert Session.objects.all().delete()[0] == 0
    with acting_as(cast.own.office.person_id), connection.cursor() as cursor:
        cursor.execute("SELECT to_jsonb(s)::text FROM shared_session s")
        (said,) = (row[0] for row in cursor.fetchall())
        assert key not in said
        assert Session.objects.update(ends_at=clock.now()) == 0, "seen and ended, never changed"
    with working_at("retention"):
        assert Session.objects.count() == 0, "the sweep sees what is over, and nothing else"
    assert is_in(client)


def test_one_sees_ones_log_ins_with_place_time_and_browser_and_ends_one(cast: Cast):
    here = logged_in(cast.own.crew_lead, PHONE, "203.0.113.7")
    there = logged_in(cast.own.crew_lead, FIREFOX, "198.51.100.9")
    logged_in(cast.own.office, FIREFOX, "192.0.2.44")
    page = here.get("/me/log-ins/").content.decode()
    for word in ("203.0.113.7", "198.51.100.9", "Chrome, Android", "Firefox, Linux", "this one"):
        assert word in page, word
    assert "192.0.2.44" not in page
    with acting_as(cast.own.crew_lead.person_id):
        other = next(
            s for s in sessions_of(cast.own.crew_lead.person, this=here.cookies["sessionid"].value) if not s.is_this
        )
    assert here.post("/me/log-ins/", {"end": str(other.id)}).status_code == 302
    assert not is_in(there)
    assert is_in(here)


@pytest.mark.parametrize("wrong", ["", "nonsense", "00000000-0000-4000-8000-000000000000", "a\x00b"])
def test_ending_what_is_no_log_in_of_ones_own_ends_nothing(cast: Cast, wrong: str):
    here = logged_in(cast.own.crew_lead)
    assert here.post("/me/log-ins/", {"end": wrong}).status_code == 404
    assert is_in(here)


def test_a_log_in_of_a_colleague_is_absent(cast: Cast):
    theirs, here = logged_in(cast.own.office), logged_in(cast.own.manager)
    with acting_as(cast.own.office.person_id):
        pk = Session.objects.get().pk
    assert here.post("/me/log-ins/", {"end": str(pk)}).status_code == 404
    assert is_in(theirs)


def test_all_others_are_ended_at_once(cast: Cast):
    clients = [logged_in(cast.own.manager) for _number in range(3)]
    colleague = logged_in(cast.own.office)
    assert clients[0].post("/me/log-ins/", {"end": "others"}).status_code == 302
    assert [is_in(client) for client in clients] == [True, False, False]
    assert is_in(colleague)


def test_a_manager_ends_the_log_ins_of_a_member(cast: Cast):
    both = cast.own.members["both"]
    lead, elsewhere, manager = logged_in(cast.own.crew_lead), logged_in(both), logged_in(cast.own.manager)
    with later(0.01):
        for member in (cast.own.crew_lead, both):
            assert manager.post(f"/firm/members/{member.pk}/log-ins/").status_code == 302
    with later(0.02):
        assert not is_in(lead)
        assert not is_in(elsewhere), "also where another firm was chosen"
        assert is_in(manager)
        assert is_in(logged_in(cast.own.crew_lead)), "who knows the password comes back"
    with acting_for(cast.own.contractor.pk):
        assert AuditEntry.objects.filter(what="log-ins ended").count() == 2


def test_the_office_and_a_neighbour_may_not(cast: Cast):
    lead = logged_in(cast.own.crew_lead)
    path = f"/firm/members/{cast.own.crew_lead.pk}/log-ins/"
    assert client_of(cast.own.office).post(path).status_code == 403
    assert client_of(cast.other.manager).post(path).status_code == 404
    assert is_in(lead)


def test_the_operator_ends_all_log_ins_of_a_person(cast: Cast):
    clients = [logged_in(cast.own.members["both"]) for _number in range(2)]
    call_command("log_ins", "both@cast.example", "--end", "--by", "D. Operator", "--why", "laptop lost")
    assert [is_in(client) for client in clients] == [False, False]
    for firm in (cast.own, cast.other):
        with acting_for(firm.contractor.pk):
            noted = AuditEntry.objects.get(what="log-ins ended")
        assert (noted.who, noted.after) == ("operator D. Operator", {"why": "laptop lost"})


@pytest.mark.parametrize(
    ("agent", "words"),
    [(FIREFOX, "Firefox, Linux"), (PHONE, "Chrome, Android"), ("", ""), ("curl/8", ""), ("<script>" * 50, "")],
)
def test_a_browser_is_told_in_two_words(agent: str, words: str):
    assert browser_words(agent) == words
