"""Calendar links and private links: made, renewed, ended; an old address opens nothing."""

from __future__ import annotations

import re

import pytest
from django.test import Client

from scheduling.selectors.links import qr_svg
from shared.models import AccessToken, AuditEntry, Role, TokenKind
from shared.services.members import invitation_make
from shared.services.tokens import token_for
from shared.tenancy.context import acting_for
from tests.cast import client_of, open_job


@pytest.fixture
def manager(cast):
    return client_of(cast.own.manager)


@pytest.fixture
def office(cast):
    return client_of(cast.own.office)


@pytest.fixture
def job(cast):
    return open_job(cast.own)


def living(cast, kind, purpose, subject=None):
    with acting_for(cast.own.contractor.pk):
        return AccessToken.objects.filter(kind=kind, purpose=purpose, subject_id=subject, revoked_at=None).first()


def feed(token):
    return Client().get(f"/feeds/{token.secret}/fill-days.ics").status_code


def test_the_page_of_a_job_shows_private_page_calendar_webcal_and_qr(cast, office, job):
    with acting_for(cast.own.contractor.pk):
        page = token_for(TokenKind.LINK, "pool_owner", job.pk)
        calendar = token_for(TokenKind.FEED, "pool_owner", job.pk)
    html = office.get(f"/jobs/{job.pk}/").content.decode()
    assert f"/pool/{page.secret}/" in html
    assert f"/feeds/{calendar.secret}/fill-days.ics" in html
    assert re.search(rf'href="webcal://[^"]*{re.escape(calendar.secret)}', html)
    assert html.count('<svg width="') + html.count('class="qr"') >= 2
    assert "Not looked at yet." in html


def test_the_qr_code_is_plain_svg_without_inline_style():
    """Version by capacity [ISO/IEC 18004]: 70 bytes at level M need version 5, 37 modules, margin 4."""
    svg = qr_svg("https://resurf.example/feeds/" + "a" * 43 + "/fill-days.ics")
    size = int(re.search(r'width="(\d+)"', svg)[1])
    assert size % 3 == 0
    modules = size // 3 - 8
    assert modules >= 37
    assert (modules - 17) % 4 == 0
    assert "style" not in svg


def test_a_new_address_ends_the_old_one(cast, office, job):
    old = living(cast, TokenKind.FEED, "pool_owner", job.pk)
    assert feed(old) == 200
    answer = office.post(f"/links/{old.pk}/rotate/")
    assert answer["Location"] == f"/jobs/{job.pk}/"
    new = living(cast, TokenKind.FEED, "pool_owner", job.pk)
    assert new.secret != old.secret
    assert (feed(old), feed(new)) == (404, 200)


def test_an_ended_link_opens_nothing_and_can_be_made_anew(cast, office, job):
    old = living(cast, TokenKind.FEED, "pool_owner", job.pk)
    office.post(f"/links/{old.pk}/revoke/")
    assert feed(old) == 404
    html = office.get(f"/jobs/{job.pk}/").content.decode()
    assert "There is none." in html
    made = {"kind": "feed", "purpose": "pool_owner", "subject": str(job.pk)}
    assert office.post("/links/make/", made).status_code == 302
    assert feed(living(cast, TokenKind.FEED, "pool_owner", job.pk)) == 200
    with acting_for(cast.own.contractor.pk):
        assert {"link ended", "link made"} <= set(AuditEntry.objects.values_list("what", flat=True))


@pytest.mark.parametrize(("purpose", "page"), [("firm", "/firm/"), ("doubt", "/firm/"), ("crew", "/firm/crews/")])
def test_a_manager_makes_calendar_links_of_firm_and_crews(cast, manager, office, purpose, page):
    subject = cast.own.crews["prep"].pk if purpose == "crew" else None
    wanted = {"kind": "feed", "purpose": purpose, **({"subject": str(subject)} if subject else {})}
    assert office.post("/links/make/", wanted).status_code == 403
    answer = manager.post("/links/make/", wanted)
    assert answer["Location"].startswith(page)
    token = living(cast, TokenKind.FEED, purpose, subject)
    assert feed(token) == 200
    assert token.secret in manager.get(answer["Location"]).content.decode()
    assert office.post(f"/links/{token.pk}/rotate/").status_code == 403
    assert office.post(f"/links/{token.pk}/revoke/").status_code == 403


def test_when_it_was_last_looked_at_is_said(cast, office, job):
    feed(living(cast, TokenKind.FEED, "pool_owner", job.pk))
    assert "A calendar last looked" in office.get(f"/jobs/{job.pk}/").content.decode()


@pytest.mark.parametrize(
    "wanted",
    [
        {"kind": "api", "purpose": "firm"},
        {"kind": "feed", "purpose": "membership"},
        {"kind": "feed", "purpose": "crew"},
        {"kind": "feed", "purpose": "crew", "subject": "no-id"},
        {},
    ],
)
def test_other_kinds_of_secrets_are_not_made_here(cast, manager, wanted):
    before = count(cast)
    assert manager.post("/links/make/", wanted).status_code == 400
    assert count(cast) == before


def count(cast):
    with acting_for(cast.own.contractor.pk):
        return AccessToken.objects.count()


def test_an_invitation_is_not_renewed_here(cast, manager):
    with acting_for(cast.own.contractor.pk):
        invitation = invitation_make("new@cast.example", Role.OFFICE, by=cast.own.manager)
    assert manager.post(f"/links/{invitation.pk}/rotate/").status_code == 404
    assert manager.post(f"/links/{invitation.pk}/revoke/").status_code == 404
    with acting_for(cast.own.contractor.pk):
        assert AccessToken.objects.get(pk=invitation.pk).revoked_at is None


def test_a_link_for_the_neighbours_job_or_crew_is_not_made(cast, office, manager):
    theirs = open_job(cast.other)
    wanted = {"kind": "feed", "purpose": "pool_owner", "subject": str(theirs.pk)}
    assert office.post("/links/make/", wanted).status_code == 400
    crew = {"kind": "feed", "purpose": "crew", "subject": str(cast.other.crews["prep"].pk)}
    assert manager.post("/links/make/", crew).status_code == 400


def test_the_neighbours_links_are_out_of_reach(cast, manager):
    with acting_for(cast.other.contractor.pk):
        token = token_for(TokenKind.FEED, "firm")
    assert manager.post(f"/links/{token.pk}/revoke/").status_code == 404
    assert feed(token) == 200
