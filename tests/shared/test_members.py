"""Members: invited by a link with an end, roles changed, removed; one manager always stays. Everyone their language."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from shared import clock
from shared.models import AuditEntry, Contractor, Firm, Membership, Role
from shared.tenancy.context import acting_as, acting_for
from tests.cast import PASSWORD, Cast, client_of

NEW = "the tide table is wet"


@pytest.fixture
def manager(cast: Cast) -> Client:
    return client_of(cast.own.manager)


def invite(manager: Client, email: str = "New@Own.example", role: str = Role.CREW_LEAD) -> str:
    """Invite from the page; its text afterwards."""
    assert manager.post(reverse("members"), {"email": email, "role": role}).status_code == 302
    return manager.get(reverse("members")).content.decode()


def link_of(page: str) -> str:
    found = re.search(r'value="(http://testserver/join/[^"]+)"', page)
    assert found
    return found[1]


def test_every_role_is_explained_in_words(manager: Client):
    page = manager.get(reverse("members")).content.decode()
    assert page.count("Does all that the office does, and changes crews, limits, rates and members.") == 2
    assert "logs the work, the fill and the water" in page


def test_an_invitation_shows_its_whole_link_its_end_and_a_letter(cast: Cast, manager: Client):
    page = invite(manager)
    end = clock.now() + dt.timedelta(days=7)
    assert f"good until {end.astimezone(cast.own.contractor.tz):%A}" in page
    assert "mailto:new%40own.example?subject=Join%20Own%20Basin%20Works" in page
    joined = Client().post(link_of(page), {"name": "Newcomer", "password": NEW, "language": "es"})
    assert joined.status_code == 302
    with acting_for(cast.own.contractor.pk):
        person = Membership.objects.select_related("person").get(person__email="new@own.example").person
    assert person.language == "es"
    assert "None open." in manager.get(reverse("members")).content.decode()


def test_a_new_invitation_to_the_same_address_ends_the_old_one(manager: Client):
    old = link_of(invite(manager))
    new = link_of(invite(manager, "new@own.example", Role.OFFICE))
    assert Client().get(old).status_code == 404
    assert Client().get(new).status_code == 200


def test_who_is_a_member_already_is_not_invited(cast: Cast, manager: Client):
    answer = manager.post(reverse("members"), {"email": "OFFICE@own.example", "role": Role.MANAGER})
    assert answer.status_code == 422
    assert "is a member already (office); change the role there." in answer.content.decode()


def test_a_withdrawn_invitation_opens_nothing_and_stands_in_the_trail(cast: Cast, manager: Client):
    page = invite(manager)
    withdraw = re.search(r'action="(/firm/invitations/[^"]+)"', page)
    assert withdraw
    assert manager.post(withdraw[1]).status_code == 302
    assert Client().get(link_of(page)).status_code == 404
    with acting_for(cast.own.contractor.pk):
        assert AuditEntry.objects.filter(what="invitation withdrawn").count() == 1


def test_an_invitation_that_is_over_says_so(cast: Cast, manager: Client):
    page = invite(manager)
    with clock.clock_at(clock.now() + dt.timedelta(days=8)):
        assert Client().get(link_of(page)).status_code == 404
        assert (
            "the link is over; make a new one" in client_of(cast.own.manager).get(reverse("members")).content.decode()
        )


def test_a_role_is_changed_a_member_removed_and_the_last_manager_kept(cast: Cast, manager: Client):
    office = reverse("member", args=[cast.own.office.pk])
    assert manager.post(office, {"role": Role.MANAGER, "active": "on"}).status_code == 302
    assert client_of(cast.own.office).get(reverse("members")).status_code == 200
    assert manager.post(office, {"role": Role.MANAGER}).status_code == 302
    assert client_of(cast.own.office).get(reverse("home")).status_code == 403
    assert "removed; may not log in" in manager.get(reverse("members")).content.decode()
    both = reverse("member", args=[cast.own.members["both"].pk])
    assert manager.post(both, {"role": Role.CREW_LEAD, "active": "on"}).status_code == 302
    answer = manager.post(reverse("member", args=[cast.own.manager.pk]), {"role": Role.OFFICE, "active": "on"})
    assert answer.status_code == 422
    assert "A firm needs at least one manager" in answer.content.decode()


def test_ones_own_name_and_language_are_changed_by_oneself(cast: Cast):
    lead = client_of(cast.own.crew_lead)
    assert lead.post(reverse("me"), {"name": " Prep lead ", "language": "es"}).status_code == 302
    page = lead.get(reverse("me")).content.decode()
    assert '<html lang="es">' in page
    assert "Prep lead" in page
    assert lead.post(reverse("me"), {"name": "", "language": "fr"}).status_code == 422


def test_a_new_password_needs_the_old_one_and_ends_other_sessions(cast: Cast):
    here, elsewhere = client_of(cast.own.office), client_of(cast.own.office)
    wrong = here.post(reverse("me"), {"do": "password", "current": "something else", "password": NEW})
    assert "This is not the password that holds now." in wrong.content.decode()
    short = here.post(reverse("me"), {"do": "password", "current": PASSWORD, "password": "short"})
    assert "at least 12 characters" in short.content.decode()
    assert here.post(reverse("me"), {"do": "password", "current": PASSWORD, "password": NEW}).status_code == 302
    assert here.get(reverse("me")).status_code == 200
    assert elsewhere.get(reverse("me")).status_code == 302
    with acting_as(cast.own.office.person.pk):
        cast.own.office.person.refresh_from_db()
    assert cast.own.office.person.check_password(NEW)


def test_the_old_password_is_not_guessed_here(cast: Cast):
    office = client_of(cast.own.office)
    for _ in range(5):
        office.post(reverse("me"), {"do": "password", "current": "a guess", "password": NEW})
    answer = office.post(reverse("me"), {"do": "password", "current": PASSWORD, "password": NEW})
    assert "Too many failed tries" in answer.content.decode()


def test_the_command_opens_a_firm_and_its_link_makes_the_first_manager(db, capsys):
    call_command("firm", "Heron Basin Works", manager="first@heron.example", units="metric", zone="Europe/Madrid")
    said = capsys.readouterr().out
    assert "Opened: Heron Basin Works (heron-basin-works)" in said
    path = re.search(r"(/join/\S+)", said)
    assert path
    client = Client()
    assert client.post(path[1], {"name": "First", "password": NEW}).status_code == 302
    assert "To begin" in client.get(reverse("home")).content.decode()
    contractor = Contractor.objects.get(slug="heron-basin-works")
    with acting_for(contractor.pk):
        assert Membership.objects.get().role == Role.MANAGER
        assert Firm.objects.get().units == "metric"


def test_the_command_gives_a_new_link_for_a_firm_that_is_there_and_refuses_nonsense(db, capsys):
    for _ in range(2):
        call_command("firm", "Heron Basin Works", manager="first@heron.example")
    assert "There already: Heron Basin Works" in capsys.readouterr().out
    assert Contractor.objects.count() == 1
    for wrong, sentence in (
        ({"manager": "no address"}, "valid email"),
        ({"manager": "a@b.example", "zone": "Nowhere/None"}, "is not a time zone"),
        ({"manager": "a@b.example", "slug": "heron-basin-works"}, "is that of Heron Basin Works"),
    ):
        with pytest.raises(CommandError, match=sentence):
            call_command("firm", "Another Firm", **wrong)
    assert Contractor.objects.count() == 1
