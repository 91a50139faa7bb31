from __future__ import annotations

import re

import pytest

from shared.models import AccessToken, AuditEntry, TokenKind
from shared.origin import coming_from
from shared.services.audit import audit_note
from shared.tenancy.context import acting_for
from tests.api.caller import Caller, caller_of
from tests.cast import Cast, client_of, open_job


def made(client, scope: str = "read") -> str:
    page = client.post("/me/tokens/", {"name": "bookkeeping", "scope": scope, "days": "30"})
    found = re.search(r'value="(rs1_[\w-]{43})"', page.content.decode())
    assert found, page.content.decode()
    return found.group(1)


def test_a_token_is_made_shown_once_used_and_revoked(cast: Cast):
    client = client_of(cast.own.office)
    secret = made(client)
    caller = Caller(secret)
    assert caller.get("/jobs").status_code == 200
    page = client.get("/me/tokens/").content.decode()
    assert secret not in page
    assert "bookkeeping" in page
    with acting_for(cast.own.contractor.pk):
        token = AccessToken.objects.get(kind=TokenKind.API)
    assert client.post(f"/me/tokens/{token.pk}/revoke/").status_code == 302
    assert caller.get("/jobs").status_code == 401


def test_a_crew_lead_cannot_make_an_office_token(cast: Cast):
    answer = client_of(cast.own.crew_lead).post("/me/tokens/", {"name": "x", "scope": "office", "days": "30"})
    assert answer.status_code == 422


def test_only_the_member_and_a_manager_revoke_a_token(cast: Cast):
    made(client_of(cast.own.office))
    with acting_for(cast.own.contractor.pk):
        token = AccessToken.objects.get(kind=TokenKind.API)
    assert client_of(cast.own.crew_lead).post(f"/me/tokens/{token.pk}/revoke/").status_code == 403
    assert client_of(cast.other.manager).post(f"/me/tokens/{token.pk}/revoke/").status_code == 404
    assert client_of(cast.own.manager).post(f"/me/tokens/{token.pk}/revoke/").status_code == 302


def test_the_trail_says_who_what_before_after_and_from_where(cast: Cast):
    job = open_job(cast.own)
    caller = caller_of(cast.own.office)
    assert caller.changed("patch", f"/jobs/{job.pk}", {"work": {"weight": 7}}).status_code == 200
    client_of(cast.own.office).post(f"/jobs/{job.pk}/call-off/", {"why": "sold <b>"})
    page = client_of(cast.own.manager).get("/firm/trail/").content.decode()
    assert "weight: <del>1</del> <ins>7</ins>" in page
    assert "API, 127.0.0.1, test" in page
    assert "screen, 127.0.0.1" in page
    assert "sold &lt;b&gt;" in page
    with acting_for(cast.own.contractor.pk):
        assert AuditEntry.objects.filter(what="job called off").get().origin == "screen, 127.0.0.1"
    assert client_of(cast.own.office).get("/firm/trail/").status_code == 403


def test_the_trail_is_read_by_page_and_searched(cast: Cast):
    with acting_for(cast.own.contractor.pk):
        for number in range(130):
            audit_note("cast", f"thing {number}", cast.own.contractor)
    client = client_of(cast.own.manager)
    first = client.get("/firm/trail/?q=thing").content.decode()
    assert first.count('<th scope="row">') == 100
    older = re.search(r'href="(\?q=thing&amp;before=[^"]+)"', first)
    assert older
    second = client.get("/firm/trail/" + older.group(1).replace("&amp;", "&")).content.decode()
    assert second.count('<th scope="row">') == 30
    assert client.get("/firm/trail/?before=x").status_code == 404


def test_an_origin_is_kept_and_ends_with_its_scope(cast: Cast):
    with acting_for(cast.own.contractor.pk):
        with coming_from("task scheduling.sweep" + "x" * 80):
            assert audit_note("cast", "x", cast.own.contractor).origin == ("task scheduling.sweep" + "x" * 80)[:64]
        assert audit_note("cast", "x", cast.own.contractor).origin == ""


@pytest.mark.parametrize("path", ["/firm/security/", "/firm/trail/"])
def test_the_office_does_not_see_what_managers_decide(cast: Cast, path: str):
    assert client_of(cast.own.office).get(path).status_code == 403
