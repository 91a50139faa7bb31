from __future__ import annotations

import datetime as dt
import re

import pytest
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client
from django_otp.oath import TOTP

from shared import clock
from shared.models import AuditEntry, Firm, Membership, Person, SecondFactor
from shared.services.members import invitation_make
from shared.services.second_factor import (
    second_factor_begin,
    second_factor_confirm,
    second_factor_of,
    second_factor_right,
    second_factor_rule,
)
from shared.tenancy.context import acting_as, acting_for
from tests.cast import PASSWORD, Cast, client_of


def code_of(person: Person, *, steps: int = 0) -> str:
    with acting_as(person.pk):
        factor = SecondFactor.objects.get(person=person)
    totp = TOTP(factor.key)
    totp.time = clock.now().timestamp() + 30 * steps
    return f"{totp.token():06d}"


def later(seconds: int = 60) -> clock.clock_at:
    return clock.clock_at(clock.now() + dt.timedelta(seconds=seconds))


def enrolled(member: Membership) -> list[str]:
    second_factor_begin(member.person)
    return second_factor_confirm(member.person, code_of(member.person))


def log_in(member: Membership, client: Client | None = None) -> Client:
    client = client or Client()
    answer = client.post("/login/", {"email": member.person.email, "password": PASSWORD})
    assert answer.status_code == 302, answer.content
    return client


def test_the_codes_are_those_of_rfc_6238():
    """Appendix B, SHA-1, the 8-digit values' last six digits."""
    for seconds, code in ((59, 287082), (1111111109, 81804), (1234567890, 5924), (2000000000, 279037)):
        totp = TOTP(b"12345678901234567890")
        totp.time = seconds
        assert totp.token() == code


def test_a_page_shows_the_key_once_and_a_right_code_makes_it_count(cast: Cast):
    client = client_of(cast.own.manager)
    page = client.get("/me/second-factor/")
    assert "<svg" in page.content.decode()
    assert second_factor_of(cast.own.manager.person_id) is None
    assert client.post("/me/second-factor/", {"code": "000000"}).status_code == 422
    done = client.post("/me/second-factor/", {"code": code_of(cast.own.manager.person)})
    codes = re.findall(r"<code>([a-z2-7-]{14})</code>", done.content.decode())
    assert len(set(codes)) == 10
    assert second_factor_of(cast.own.manager.person_id) is not None
    assert "<svg" not in client.get("/me/second-factor/").content.decode()


def test_the_password_alone_opens_nothing(cast: Cast):
    enrolled(cast.own.manager)
    client = log_in(cast.own.manager)
    assert client.get("/")["Location"].startswith("/login/?")
    assert client.get("/login/code/").status_code == 200
    with later():
        wrong = client.post("/login/code/", {"code": "123456"})
        assert wrong.status_code == 422
        before = client.session.session_key
        right = client.post("/login/code/", {"code": code_of(cast.own.manager.person)})
        assert (right.status_code, right["Location"]) == (302, "/")
        assert client.session.session_key != before, "the session is a new one after the log-in"
        assert client.get("/").status_code == 200


def test_a_code_is_taken_once_and_only_near_its_time(cast: Cast):
    person = cast.own.manager.person
    enrolled(cast.own.manager)
    with later():
        code = code_of(person)
        assert second_factor_right(person, code)
        assert not second_factor_right(person, code)
        assert not second_factor_right(person, code_of(person, steps=-1)), "older than one that was taken"
        assert second_factor_right(person, code_of(person, steps=1))
        assert not second_factor_right(person, code_of(person, steps=3))


@pytest.mark.parametrize("code", ["", "12345", "1234567", "١٢٣٤٥٦", "abcdef", "-12345", "1" * 24])
def test_what_is_no_code_is_refused(cast: Cast, code: str):
    enrolled(cast.own.manager)
    assert not second_factor_right(cast.own.manager.person, code)


def test_a_recovery_code_opens_once(cast: Cast):
    codes = enrolled(cast.own.manager)
    client = log_in(cast.own.manager)
    assert client.post("/login/code/", {"code": codes[3].upper()}).status_code == 302
    assert client.get("/").status_code == 200
    again = log_in(cast.own.manager)
    assert again.post("/login/code/", {"code": codes[3]}).status_code == 422
    assert again.post("/login/code/", {"code": codes[4]}).status_code == 302


def test_guessing_codes_locks_as_guessing_passwords_does(cast: Cast):
    enrolled(cast.own.manager)
    client = log_in(cast.own.manager)
    statuses = [client.post("/login/code/", {"code": f"{n:06d}"}).status_code for n in range(6)]
    assert statuses == [422] * 5 + [429]


def test_the_half_open_door_shuts_after_five_minutes(cast: Cast):
    enrolled(cast.own.manager)
    client = log_in(cast.own.manager)
    session = client.session
    session["half_in"] = {**session["half_in"], "until": 0}
    session.save()
    assert client.get("/login/code/")["Location"] == "/login/"


def test_an_invitation_is_no_way_around_it(cast: Cast):
    enrolled(cast.own.office)
    with acting_for(cast.other.contractor.pk):
        token = invitation_make("office@own.example", "office", by=cast.other.manager)
    client = Client()
    answer = client.post(f"/join/{token.secret}/", {"name": "x", "password": PASSWORD})
    assert (answer.status_code, answer["Location"]) == (302, "/login/code/")
    assert client.get("/").status_code == 302


def test_a_firm_may_ask_its_managers_for_one(cast: Cast):
    with acting_for(cast.own.contractor.pk):
        firm = Firm.objects.get()
        with pytest.raises(ValidationError, match="your own"):
            second_factor_rule(firm, needed=True, by=cast.own.manager)
    client = client_of(cast.own.manager)
    client.get("/me/second-factor/")
    client.post("/me/second-factor/", {"code": code_of(cast.own.manager.person)})
    assert client.post("/firm/security/", {"second_factor": "on"}).status_code == 302
    with acting_for(cast.own.contractor.pk):
        assert Firm.objects.get().second_factor
        assert AuditEntry.objects.filter(what="second factor rule").exists()
    assert client.get("/firm/security/").status_code == 200
    both = client_of(cast.own.members["both"])
    assert both.get("/")["Location"] == "/me/second-factor/"
    assert both.get("/me/second-factor/").status_code == 200
    assert client_of(cast.own.office).get("/").status_code == 200, "the rule is for managers"
    assert client_of(cast.other.manager).get("/").status_code == 200, "and for this firm"


def test_nobody_else_sees_or_ends_a_factor(cast: Cast):
    enrolled(cast.own.manager)
    with acting_as(cast.own.office.person_id), acting_for(cast.own.contractor.pk):
        assert SecondFactor.objects.count() == 0
        assert SecondFactor.objects.all().delete()[0] == 0
    assert second_factor_of(cast.own.manager.person_id) is not None


def test_the_database_holds_no_key_and_no_code(cast: Cast):
    codes = enrolled(cast.own.manager)
    with acting_as(cast.own.manager.person_id), connection.cursor() as cursor:
        cursor.execute("SELECT to_jsonb(f)::text FROM shared_secondfactor f")
        kept = cursor.fetchone()[0]
        key = SecondFactor.objects.get().key
    assert key.hex() not in kept
    assert not [code for code in codes if code in kept]


def test_it_is_ended_with_a_code(cast: Cast):
    enrolled(cast.own.manager)
    client = client_of(cast.own.manager)
    assert client.post("/me/second-factor/", {"code": "000000"}).status_code == 422
    with later():
        client.post("/me/second-factor/", {"code": code_of(cast.own.manager.person)})
    assert second_factor_of(cast.own.manager.person_id) is None


def test_the_password_is_asked_again_before_anything_of_it_is_changed(cast: Cast):
    client = log_in(cast.own.office)
    assert client.get("/me/second-factor/").status_code == 200, "it was typed a moment ago"
    with later(11 * 60):
        for answer in (client.get("/me/second-factor/"), client.post("/me/second-factor/", {"code": "123456"})):
            assert answer["Location"] == "/me/confirm/?next=%2Fme%2Fsecond-factor%2F"
        assert client.post("/me/confirm/", {"password": "wrong", "next": "/me/second-factor/"}).status_code == 422
        assert client.get("/me/second-factor/").status_code == 302
        right = client.post("/me/confirm/", {"password": PASSWORD, "next": "/me/second-factor/"})
        assert right["Location"] == "/me/second-factor/"
        assert client.get("/me/second-factor/").status_code == 200
    with later(22 * 60):
        assert client.get("/me/second-factor/").status_code == 302, "and again later"


def test_asking_again_is_no_way_to_guess_and_leads_nowhere_else(cast: Cast):
    client = log_in(cast.own.office)
    elsewhere = client.post("/me/confirm/", {"password": PASSWORD, "next": "https://evil.example/"})
    assert elsewhere["Location"] == "/me/"
    statuses = [client.post("/me/confirm/", {"password": f"wrong {n}"}).status_code for n in range(6)]
    assert statuses == [422] * 5 + [429]


def test_the_operator_ends_a_lost_factor_with_a_record(cast: Cast):
    enrolled(cast.own.manager)
    inside = client_of(cast.own.manager)
    said = ("manager@own.example", "--end-second-factor")
    with pytest.raises(CommandError, match="who ends it and why"):
        call_command("log_ins", *said)
    with pytest.raises(CommandError, match="Nobody has"):
        call_command("log_ins", "nobody@own.example", "--end-second-factor", "--by", "D.", "--why", "lost")
    assert second_factor_of(cast.own.manager.person_id) is not None
    call_command("log_ins", *said, "--by", "D. Operator", "--why", "phone lost; rung back on the firm's number")
    assert second_factor_of(cast.own.manager.person_id) is None
    assert inside.get("/").status_code == 302, "what was open is shut"
    assert log_in(cast.own.manager).get("/").status_code == 200
    with acting_for(cast.own.contractor.pk):
        noted = AuditEntry.objects.get(what="second factor ended")
        assert (noted.who, noted.subject_id) == ("operator D. Operator", cast.own.manager.pk)
        assert noted.after == {"why": "phone lost; rung back on the firm's number"}
    with acting_for(cast.other.contractor.pk):
        assert not AuditEntry.objects.filter(what="second factor ended").exists()
    with pytest.raises(CommandError, match="no second factor"):
        call_command("log_ins", *said, "--by", "D.", "--why", "again")
