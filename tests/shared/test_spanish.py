"""What a crew lead meets before and beside the work, the log-in, an invitation and one's own page, is Spanish too."""

from __future__ import annotations

import pytest
from django.contrib.auth.tokens import default_token_generator
from django.test import Client
from django.urls import reverse

from shared.models import Role
from shared.services.members import invitation_make
from shared.tenancy.context import acting_as, acting_for
from tests.cast import PASSWORD, Cast, client_of
from tests.scheduling.test_spanish import asked

__all__ = ["asked"]  # the fixture

SPANISH = {"Accept-Language": "es"}


def lead(cast: Cast) -> Client:
    person = cast.own.crew_lead.person
    with acting_as(person.pk):
        person.language = "es"
        person.save(update_fields=["language"])
    return client_of(cast.own.crew_lead)


def test_ones_own_page_leaves_no_english_word(cast: Cast, asked: set[str]):
    client, url = lead(cast), reverse("me")
    for sent in (
        {"name": "", "language": "fr"},
        {"do": "password", "current": "", "password": ""},
        {"do": "password", "current": "wrong", "password": "short"},
        {"do": "password", "current": PASSWORD, "password": "short"},
        {"do": "password", "current": PASSWORD, "password": "password1234"},
    ):
        assert client.post(url, sent).status_code == 422
    assert client.post(url, {"name": "Prep", "language": "es"}, follow=True).status_code == 200
    changed = {"do": "password", "current": PASSWORD, "password": "marea baja en abril"}
    assert client.post(url, changed, follow=True).status_code == 200
    assert "\n".join(sorted(asked)) == ""


def test_log_in_and_invitation_leave_no_english_word(cast: Cast, asked: set[str]):
    client = Client(headers=SPANISH)
    with acting_for(cast.own.contractor.pk):
        token = invitation_make("nueva@own.example", Role.CREW_LEAD, by=cast.own.manager)
    join = reverse("invitation", args=[token.secret])
    assert client.get(join).status_code == 200
    assert client.post(join, {"name": "", "password": "short"}).status_code == 200
    assert client.post(join, {"name": "Nueva", "password": "short"}).status_code == 200
    assert client.get(reverse("login")).status_code == 200
    assert client.post(reverse("login"), {"email": "x", "password": ""}).status_code == 200
    for _ in range(6):
        client.post(reverse("login"), {"email": "lead@own.example", "password": "wrong"})
    assert client.get(reverse("password-forgot")).status_code == 200
    assert client.post(reverse("password-forgot"), {"email": "lead@own.example"}).status_code == 200
    person = cast.own.crew_lead.person
    reset = reverse("password-reset", args=[person.pk, default_token_generator.make_token(person)])
    assert client.get(reset).status_code == 200
    assert client.post(reset, {"password": "short"}).status_code == 200
    assert "\n".join(sorted(asked)) == ""


@pytest.mark.parametrize(("path", "status"), [("home", 302), ("jobs", 403)])
def test_where_a_crew_lead_may_not_go_leaves_no_english_word(cast: Cast, asked: set[str], path: str, status: int):
    assert lead(cast).get(reverse(path)).status_code == status
    assert lead(cast).get("/nowhere/").status_code == 404
    assert "\n".join(sorted(asked)) == ""


def test_log_ins_and_the_password_asked_again_leave_no_english_word(cast: Cast, asked: set[str]):
    client = lead(cast)
    lead(cast)  # a second device
    for path in ("sessions", "confirm"):
        assert client.get(reverse(path)).status_code == 200
    assert client.post(reverse("confirm"), {"password": "wrong"}).status_code == 422
    assert client.post(reverse("confirm"), {"password": ""}).status_code == 422
    assert client.post(reverse("sessions"), {"end": "others"}, follow=True).status_code == 200
    assert "\n".join(sorted(asked)) == ""
