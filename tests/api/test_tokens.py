from __future__ import annotations

import datetime as dt

import pytest
from django.core.exceptions import ValidationError
from django.db import connection

from shared import clock
from shared.models import AccessToken, Role, TokenKind, token_hash
from shared.services.api_tokens import api_token_make, api_token_revoke
from shared.services.members import member_change
from shared.tenancy.context import acting_for
from tests.api.caller import Caller, caller_of
from tests.cast import Cast, client_of, open_job


def ends(days: int = 30) -> dt.datetime:
    return clock.now() + dt.timedelta(days=days)


def test_a_token_opens_the_api_and_says_whose_it_is(cast: Cast):
    answer = caller_of(cast.own.office).get("/me")
    assert answer.status_code == 200
    said = answer.json()
    assert (said["name"], said["role"], said["scope"]) == ("office of own", "office", "office")
    assert said["contractor"]["name"] == "Own Basin Works"


@pytest.mark.parametrize("secret", ["", "rs1_wrong", "a" * 5000, "é", "rs1_" + "A" * 43])
def test_without_a_right_token_the_api_is_shut(cast: Cast, secret: str):
    answer = Caller(secret).get("/me")
    assert answer.status_code == 401
    assert answer["WWW-Authenticate"].startswith("Bearer")
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.json()["status"] == 401


def test_a_session_of_the_browser_does_not_open_the_api(cast: Cast):
    assert client_of(cast.own.manager).get("/api/v1/jobs").status_code == 401


def test_only_the_hash_is_stored(cast: Cast):
    with acting_for(cast.own.contractor.pk):
        token, secret = api_token_make(cast.own.office, name="import", scope="office", expires_at=ends())
        kept = AccessToken.objects.get(pk=token.pk)
        assert kept.token_hash == token_hash(secret)
        assert kept.secret != secret, "the secret of an API token does not follow from its row"
        with connection.cursor() as cursor:
            cursor.execute("SELECT to_jsonb(t)::text FROM shared_accesstoken t WHERE id = %s", [token.pk])
            assert secret not in cursor.fetchone()[0]


def test_a_revoked_an_ended_and_a_former_members_token_open_nothing(cast: Cast):
    caller = caller_of(cast.own.office)
    with acting_for(cast.own.contractor.pk):
        token = AccessToken.objects.get(kind=TokenKind.API)
        token.expires_at = clock.now()
        token.save()
    assert caller.get("/me").status_code == 401
    with acting_for(cast.own.contractor.pk):
        token.expires_at = ends()
        token.save()
        assert caller.get("/me").status_code == 200
        member_change(cast.own.office, role=Role.OFFICE, active=False, by=cast.own.manager)
    assert caller.get("/me").status_code == 401
    with acting_for(cast.own.contractor.pk):
        member_change(cast.own.office, role=Role.OFFICE, active=True, by=cast.own.manager)
    assert caller.get("/me").status_code == 401, "the token ended with the membership"


def test_a_token_that_was_revoked_opens_nothing(cast: Cast):
    caller = caller_of(cast.own.office)
    with acting_for(cast.own.contractor.pk):
        api_token_revoke(AccessToken.objects.get(kind=TokenKind.API), by=cast.own.office)
    assert caller.get("/me").status_code == 401


def test_last_use_is_noted(cast: Cast):
    caller_of(cast.own.office).get("/me")
    with acting_for(cast.own.contractor.pk):
        assert AccessToken.objects.get(kind=TokenKind.API).last_used_at == clock.now()


@pytest.mark.parametrize(
    ("scope", "days", "name"),
    [("manage", 30, "x"), ("no such", 30, "x"), ("read", 0, "x"), ("read", 400, "x"), ("read", 30, " ")],
)
def test_a_token_beyond_the_role_or_without_end_is_refused(cast: Cast, scope: str, days: int, name: str):
    with acting_for(cast.own.contractor.pk), pytest.raises(ValidationError):
        api_token_make(cast.own.office, name=name, scope=scope, expires_at=ends(days))


@pytest.mark.parametrize(
    ("scope", "statuses"),
    [("read", (200, 403, 403, 403)), ("log", (200, 201, 403, 403)), ("office", (200, 201, 200, 403))],
)
def test_a_scope_allows_so_much_and_no_more(cast: Cast, scope: str, statuses: tuple[int, ...]):
    job = open_job(cast.own)
    caller = caller_of(cast.own.manager, scope)
    entry = {"client_id": "0195f3b2-0000-7000-8000-000000000001", "kind": "note", "data": {"text": "dry"}}
    asked = (
        caller.get(f"/jobs/{job.pk}"),
        caller.post(f"/jobs/{job.pk}/logs", entry),
        caller.post(f"/jobs/{job.pk}/groundwater", {"groundwater_m": 2, "relief_valve": "stuck", "rain_mm": 0}),
        caller.post("/invitations", {"email": "new@own.example", "role": "office"}),
    )
    assert tuple(answer.status_code for answer in asked) == statuses


def test_a_crew_leads_token_sees_the_site_and_not_the_office(cast: Cast):
    job = open_job(cast.own)
    caller = caller_of(cast.own.crew_lead)
    assert caller.get("/stints").status_code == 200
    for path in (f"/jobs/{job.pk}", "/jobs", "/plans", "/links", "/members", "/audit", "/decisions"):
        assert caller.get(path).status_code == 403, path
