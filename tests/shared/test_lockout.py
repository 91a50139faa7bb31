"""What guessing, flooding and leaving at once come to."""

from __future__ import annotations

import threading

import pytest
from django.core import mail
from django.core.exceptions import ValidationError
from django.db import connection
from django.test import Client
from django.urls import reverse

from shared.models import AccessToken, Membership, Role
from shared.services.lockout import LIMIT_ADDRESS, LIMIT_MAILS, LIMIT_PLACE
from shared.services.members import invitation_make, member_change
from shared.tasks import password_mails_task
from shared.tenancy.context import acting_for
from tests.cast import PASSWORD, Cast, FirmCast, make_cast

LOGIN = "/login/"


def log_in(email: str, password: str, **headers: str):
    return Client().post(LOGIN, {"email": email, "password": password}, headers=headers)


def invite(firm: FirmCast, email: str, role: str = Role.CREW_LEAD) -> AccessToken:
    with acting_for(firm.contractor.pk):
        return invitation_make(email, role, by=firm.manager)


def join_by(token: AccessToken, password: str):
    return Client().post(reverse("invitation", args=[token.secret]), {"name": "N", "password": password})


def test_an_invitation_is_no_way_to_guess_a_strangers_password(cast: Cast):
    """A manager may invite any address; the password of a login that exists is guessed no oftener than at the login."""
    token = invite(cast.own, "office@other.example")
    guesses = [join_by(token, f"a guess of {n} words").status_code for n in range(LIMIT_ADDRESS + 2)]
    assert guesses == [200] * LIMIT_ADDRESS + [429] * 2
    assert join_by(token, PASSWORD).status_code == 429
    assert log_in("office@other.example", PASSWORD).status_code == 429  # one count for both doors


def test_a_new_password_that_is_too_short_is_no_guess(cast: Cast):
    token = invite(cast.own, "new@own.example")
    assert [join_by(token, "short").status_code for _ in range(LIMIT_ADDRESS + 2)] == [200] * (LIMIT_ADDRESS + 2)
    assert join_by(token, "the tide table is wet").status_code == 302


def test_behind_a_proxy_one_guesser_locks_out_nobody_else(cast: Cast, settings):
    """All requests come from the proxy's address; the last forwarded address is the one the proxy itself saw."""
    settings.BEHIND_PROXY = True
    for n in range(LIMIT_PLACE):
        log_in(f"nobody{n}@own.example", "wrong", x_forwarded_for="10.0.0.1, 203.0.113.9")
    assert log_in("office@own.example", PASSWORD, x_forwarded_for="203.0.113.9").status_code == 429
    assert log_in("office@own.example", PASSWORD, x_forwarded_for="203.0.113.9, 198.51.100.7").status_code == 302


def test_without_a_proxy_a_forwarded_address_is_not_believed(cast: Cast, settings):
    settings.BEHIND_PROXY = False
    for n in range(LIMIT_PLACE):
        log_in(f"nobody{n}@own.example", "wrong", x_forwarded_for=f"203.0.113.{n}")
    assert log_in("office@own.example", PASSWORD, x_forwarded_for="198.51.100.7").status_code == 429


def test_nobody_is_flooded_with_mails_for_a_new_password(cast: Cast):
    for _ in range(LIMIT_MAILS + 3):
        answer = Client().post(reverse("password-forgot"), {"email": "office@own.example"})
        assert "If this address has a login here" in answer.content.decode()
    password_mails_task.run()
    assert len(mail.outbox) == LIMIT_MAILS


def test_the_last_manager_cannot_be_made_something_else_by_an_invitation(cast: Cast):
    with acting_for(cast.own.contractor.pk):
        member_change(cast.own.members["both"], role=Role.OFFICE, active=True, by=cast.own.manager)
    answer = join_by(invite(cast.own, "manager@own.example"), PASSWORD)
    assert "at least one manager" in answer.content.decode()
    with acting_for(cast.own.contractor.pk):
        assert Membership.objects.get(pk=cast.own.manager.pk).role == Role.MANAGER


@pytest.mark.django_db(transaction=True)
def test_two_managers_who_leave_at_once_leave_one(transactional_db: None):
    cast = make_cast()
    leaving = [cast.own.manager, cast.own.members["both"]]
    start, answers = threading.Barrier(2), []

    def leave(member: Membership) -> None:
        try:
            start.wait(timeout=20)
            with acting_for(cast.own.contractor.pk):
                member_change(member, role=Role.OFFICE, active=True, by=member)
                answers.append("left")
        except ValidationError:
            answers.append("stays")
        finally:
            connection.close()

    threads = [threading.Thread(target=leave, args=(member,)) for member in leaving]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answers) == ["left", "stays"]
