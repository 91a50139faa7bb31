from __future__ import annotations

import datetime as dt
import re

import pytest
from django.conf import settings
from django.core import mail
from django.core.exceptions import ValidationError
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils.module_loading import import_string

from shared import clock
from shared.backend import person_of
from shared.models import AccessToken, Membership, PasswordMail, Role
from shared.services.lockout import LIMIT_ADDRESS
from shared.services.members import invitation_make, member_change
from shared.tasks import password_mails_task
from shared.tenancy.context import acting_for, working_at
from tests.cast import PASSWORD, Cast, client_of

LOGIN = "/login/"


def log_in(client: Client, email: str, password: str = PASSWORD, **more: str):
    return client.post(LOGIN, {"email": email, "password": password, **more})


def test_the_right_password_opens_the_first_page(cast: Cast):
    answer = log_in(Client(), "office@own.example")
    assert (answer.status_code, answer["Location"]) == (302, reverse("home"))


def test_upper_case_and_blanks_in_the_address_do_not_matter(cast: Cast):
    assert log_in(Client(), " Office@OWN.example ").status_code == 302


@pytest.mark.parametrize("email", ["office@own.example", "nobody@own.example"])
def test_a_wrong_password_and_an_unknown_address_look_the_same(cast: Cast, email: str):
    answer = log_in(Client(), email, "not the right one")
    assert answer.status_code == 200
    assert "do not belong together" in answer.content.decode()
    assert f'value="{email}"' in answer.content.decode()


def test_five_failures_lock_the_address_even_for_the_right_password(cast: Cast):
    for _ in range(LIMIT_ADDRESS):
        log_in(Client(), "office@own.example", "wrong")
    answer = log_in(Client(), "office@own.example")
    assert answer.status_code == 429
    assert "15 minutes" in answer.content.decode()
    assert log_in(Client(), "manager@own.example").status_code == 302


def test_a_login_takes_a_new_session_key(cast: Cast):
    client = Client()
    client.get(LOGIN)
    client.session.save()
    before = client.session.session_key
    log_in(client, "office@own.example")
    assert client.session.session_key != before


@pytest.mark.parametrize("wanted", ["https://elsewhere.example/", "//elsewhere.example", "javascript:alert(1)"])
def test_a_login_never_sends_anyone_elsewhere(cast: Cast, wanted: str):
    assert log_in(Client(), "office@own.example", next=wanted)["Location"] == reverse("home")


def test_a_page_asked_for_before_the_login_comes_after_it(cast: Cast):
    client = Client()
    answer = client.get(reverse("members"))
    assert answer["Location"] == "/login/?next=%2Ffirm%2Fmembers%2F"
    assert log_in(client, "manager@own.example", next=reverse("members"))["Location"] == reverse("members")


def test_logging_out_ends_the_session_and_clears_the_browser(cast: Cast):
    client = client_of(cast.own.office)
    answer = client.post(reverse("logout"))
    assert answer["Clear-Site-Data"] == '"cache"'
    assert client.get(reverse("members")).status_code == 302


def test_passwords_are_kept_with_argon2_outside_the_tests():
    hashers = (settings.BASE_DIR / "resurf" / "settings.py").read_text()
    first = re.search(r"PASSWORD_HASHERS = \[\s+\"([^\"]+)\"", hashers)
    assert first is not None
    assert import_string(first[1])().algorithm == "argon2"


def mailed_link(client: Client, email: str) -> str:
    """The path of the link that a worker mails after the request."""
    client.post(reverse("password-forgot"), {"email": email}, headers={"host": "localhost"})
    assert mail.outbox == []
    password_mails_task.run()
    link = re.search(re.escape(settings.SITE_URL) + r"(\S+)", str(mail.outbox[0].body))
    assert link is not None, "the link names the installation, not the host of the request"
    return link[1]


def test_a_forgotten_password_is_set_by_a_link_that_works_once(cast: Cast):
    client = Client()
    link = mailed_link(client, "office@own.example")
    answer = client.post(link, {"password": "another quiet basin"})
    assert answer["Location"] == LOGIN
    assert client.get(link).status_code == 404
    assert log_in(Client(), "office@own.example", "another quiet basin").status_code == 302


def test_a_short_new_password_is_refused_with_the_reason(cast: Cast):
    client = Client()
    link = mailed_link(client, "office@own.example")
    answer = client.post(link, {"password": "short"})
    assert "at least 12 characters" in answer.content.decode()


def test_an_unknown_address_costs_as_many_questions_as_a_known_one(cast: Cast):
    asked = []
    for email in ("office@own.example", "nobody@own.example"):
        with CaptureQueriesContext(connection) as questions:
            assert log_in(Client(), email, "not the one that holds").status_code == 200
        asked.append(len(questions))
    assert asked[0] == asked[1] > 5


def waiting_mails() -> int:
    with working_at("password mails"):
        return PasswordMail.objects.count()


def test_an_unknown_address_gets_the_same_answer_and_no_mail(cast: Cast):
    answer = Client().post(reverse("password-forgot"), {"email": "nobody@own.example"})
    assert "If this address has a login here" in answer.content.decode()
    assert waiting_mails() == 1  # the request does the same work for every address
    assert PasswordMail.objects.count() == 0, "only who says that these mails are written sees who asked"
    password_mails_task.run()
    assert mail.outbox == []
    assert waiting_mails() == 0


def invite(cast: Cast, email: str = "new@own.example") -> AccessToken:
    with acting_for(cast.own.contractor.pk):
        return invitation_make(email, Role.CREW_LEAD, by=cast.own.manager)


def join_by(token: AccessToken, password: str = "the tide table is wet", name: str = "Newcomer"):
    return Client().post(reverse("invitation", args=[token.secret]), {"name": name, "password": password})


def test_an_invitation_makes_a_member_once(cast: Cast):
    token = invite(cast)
    assert join_by(token).status_code == 302
    with acting_for(cast.own.contractor.pk):
        assert Membership.objects.get(person=person_of("new@own.example")).role == Role.CREW_LEAD
    assert join_by(token).status_code == 404


def test_an_old_invitation_opens_nothing(cast: Cast):
    with clock.clock_at(clock.now() - dt.timedelta(days=8)):
        token = invite(cast)
    assert join_by(token).status_code == 404


def test_a_known_address_joins_only_with_its_own_password(cast: Cast):
    token = invite(cast, "office@other.example")
    answer = join_by(token, "not the right one at all")
    assert "already has a login here" in answer.content.decode()
    assert join_by(token, PASSWORD).status_code == 302
    with acting_for(cast.own.contractor.pk):
        assert Membership.objects.filter(person=cast.other.office.person).exists()


def test_an_invitation_is_no_feed_and_a_feed_no_invitation(cast: Cast):
    token = invite(cast)
    assert Client().get(reverse("feed", args=[token.secret])).status_code == 404


def test_a_member_of_two_firms_switches_between_them(cast: Cast):
    client = client_of(cast.own.members["both"])
    answer = client.post(reverse("firm-switch"), {"contractor": str(cast.other.contractor.pk)})
    assert answer.status_code == 302
    assert "Other Interiors" in client.get(reverse("members")).content.decode()


def test_nobody_switches_to_a_firm_of_others(cast: Cast):
    client = client_of(cast.own.office)
    assert client.post(reverse("firm-switch"), {"contractor": str(cast.other.contractor.pk)}).status_code == 404


def test_a_session_that_names_another_firm_gets_ones_own(cast: Cast):
    client = client_of(cast.own.manager)
    session = client.session
    session["contractor"] = str(cast.other.contractor.pk)
    session.save()
    assert "Own Basin Works" in client.get(reverse("members")).content.decode()


def test_a_former_member_sees_no_firm(cast: Cast):
    with acting_for(cast.own.contractor.pk):
        member_change(cast.own.office, role=Role.OFFICE, active=False, by=cast.own.manager)
    answer = client_of(cast.own.office).get(reverse("members"))
    assert answer.status_code == 403
    assert "belongs to no firm" in answer.content.decode()


def test_the_last_manager_stays(cast: Cast):
    with acting_for(cast.own.contractor.pk):
        member_change(cast.own.members["both"], role=Role.OFFICE, active=True, by=cast.own.manager)
        with pytest.raises(ValidationError, match="at least one manager"):
            member_change(cast.own.manager, role=Role.OFFICE, active=True, by=cast.own.manager)


def test_every_page_carries_its_fences(cast: Cast):
    answer = Client().get(LOGIN)
    policy = answer["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "unsafe-inline" not in policy
    assert "frame-ancestors 'none'" in policy
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Referrer-Policy"] == "same-origin"
    assert "geolocation=()" in answer["Permissions-Policy"]
    assert Client().get(LOGIN)["Content-Security-Policy"] != policy
