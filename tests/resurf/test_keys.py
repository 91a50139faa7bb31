"""A new key of the installation: what followed from the old one still counts, until the old one is given up."""

from __future__ import annotations

import datetime as dt
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.tokens import default_token_generator
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django_otp.oath import TOTP

from resurf.firm_file import firm_remove, firm_write
from resurf.key_inventory import GONE, key_inventory
from scheduling.models import Hook
from scheduling.services.hooks import hook_make, hook_renew
from shared import clock
from shared.keys import key_mark, key_marked
from shared.models import Membership, SecondFactor, TokenKind
from shared.phone_keys import phone_keys
from shared.services.second_factor import second_factor_begin, second_factor_confirm, second_factor_right
from shared.services.tokens import token_for
from shared.tenancy.context import acting_as, acting_for
from tests.cast import PASSWORD, Cast, client_of, make_cast, open_job

OLD, NEW = "only for tests", "another key, drawn on a quiet morning"


def rotate(settings: Any) -> None:
    """Step one of the rotation, as resurf/UPKEEP.md has it."""
    settings.SECRET_KEY, settings.SECRET_KEY_FALLBACKS = NEW, [OLD]


def give_up(settings: Any) -> None:
    settings.SECRET_KEY, settings.SECRET_KEY_FALLBACKS = NEW, []


def enrolled(member: Membership) -> list[str]:
    with acting_as(member.person_id):
        second_factor_begin(member.person)
        return second_factor_confirm(member.person, code_of(member))


def code_of(member: Membership) -> str:
    with acting_as(member.person_id):
        factor = SecondFactor.objects.get(person=member.person)
    totp = TOTP(factor.key)
    totp.time = clock.now().timestamp()
    return f"{totp.token():06d}"


def later() -> clock.clock_at:
    return clock.clock_at(clock.now() + dt.timedelta(minutes=2))


def test_links_hooks_factors_sessions_and_phones_live_through_a_new_key(cast: Cast, settings: Any):
    job = open_job(cast.own)
    with acting_for(cast.own.contractor.pk):
        link, feed = token_for(TokenKind.LINK, "pool_owner", job.pk), token_for(TokenKind.FEED, "firm")
        hook = hook_make(url="https://hooks.cast.example/in", events=["plan.issued"], by=cast.own.manager)
    enrolled(cast.own.manager)
    inside = client_of(cast.own.office)
    reset = default_token_generator.make_token(cast.own.office.person)
    before = (link.secret, feed.secret, hook.secret, phone_keys(cast.own.crew_lead)[0])
    rotate(settings)
    with acting_for(cast.own.contractor.pk):
        shown = token_for(TokenKind.LINK, "pool_owner", job.pk)
        assert (shown.secret, token_for(TokenKind.FEED, "firm").secret) == before[:2], "the office shows the same link"
        assert Hook.objects.get().secret == before[2], "a receiver believes the next call too"
    assert before[3] in phone_keys(cast.own.crew_lead), "a phone opens what it locked"
    assert Client().get(reverse("pool-owner", args=[before[0]])).status_code == 200
    assert inside.get("/me/").status_code == 200, "nobody has to log in again"
    assert Client().get(reverse("password-reset", args=[cast.own.office.person_id, reset])).status_code == 200
    with later():
        assert second_factor_right(cast.own.manager.person, code_of(cast.own.manager))
    login = Client().post("/login/", {"email": "manager@own.example", "password": PASSWORD})
    assert login["Location"] == "/login/code/"


def test_what_is_made_after_it_follows_from_the_new_key(cast: Cast, settings: Any):
    rotate(settings)
    with acting_for(cast.own.contractor.pk):
        hook = hook_make(url="https://hooks.cast.example/in", events=["plan.issued"], by=cast.own.manager)
        feed = token_for(TokenKind.FEED, "firm")
    enrolled(cast.own.manager)
    secrets = (feed.secret, hook.secret)
    give_up(settings)
    with acting_for(cast.own.contractor.pk):
        assert (token_for(TokenKind.FEED, "firm").secret, Hook.objects.get().secret) == secrets
    with later():
        assert second_factor_right(cast.own.manager.person, code_of(cast.own.manager))


def test_the_inventory_says_when_an_old_key_may_go(cast: Cast, settings: Any):
    with acting_for(cast.own.contractor.pk):
        hook = hook_make(url="https://hooks.cast.example/in", events=["plan.issued"], by=cast.own.manager)
        feed = token_for(TokenKind.FEED, "firm")
    enrolled(cast.own.manager)
    rotate(settings)
    said = StringIO()
    call_command("keys", stdout=said)
    assert "1 hooks, 1 links, 1 second factors" in said.getvalue()
    assert "second factor to be set up anew: manager@own.example" in said.getvalue()
    assert OLD not in said.getvalue()
    assert NEW not in said.getvalue()
    with acting_for(cast.own.contractor.pk):
        hook_renew(hook, by=cast.own.manager)
        feed.revoked_at = clock.now()
        feed.save()
    with acting_as(cast.own.manager.person_id):
        SecondFactor.objects.all().delete()
    enrolled(cast.own.manager)
    present, before = key_inventory()
    assert dict(present.counts) == {"hooks": 1, "second factors": 1}
    assert dict(before.counts) == {}


def test_after_an_old_key_was_given_up_too_soon_links_still_open_and_new_ones_are_made(cast: Cast, settings: Any):
    job = open_job(cast.own)
    with acting_for(cast.own.contractor.pk):
        old = token_for(TokenKind.LINK, "pool_owner", job.pk).secret
    codes = enrolled(cast.own.manager)
    with acting_as(cast.own.manager.person_id):
        key = SecondFactor.objects.get().key
    give_up(settings)
    assert Client().get(reverse("pool-owner", args=[old])).status_code == 200
    with acting_for(cast.own.contractor.pk):
        new = token_for(TokenKind.LINK, "pool_owner", job.pk)
        assert new.secret != old
        assert new.can_be_shown
    assert Client().get(reverse("pool-owner", args=[new.secret])).status_code == 200
    with later():
        app = TOTP(key)  # what the authenticator app still shows
        app.time = clock.now().timestamp()
        assert not second_factor_right(cast.own.manager.person, f"{app.token():06d}")
        assert second_factor_right(cast.own.manager.person, codes[0]), "recovery codes follow from no key"
    gone = next(use for use in key_inventory() if use.mark == GONE)
    assert gone.counts["links"] >= 1
    assert gone.counts["second factors"] == 1


@pytest.mark.parametrize("mark", ["", "unknown"])
def test_a_row_without_a_mark_follows_from_the_oldest_key(settings: Any, mark: str):
    rotate(settings)
    assert key_marked(mark) == (OLD if not mark else NEW).encode()
    assert key_marked(key_mark(OLD.encode())) == OLD.encode()


@pytest.mark.django_db(transaction=True)
def test_a_firm_brought_to_another_installation_follows_from_its_key(tmp_path: Path, settings: Any):
    cast = make_cast()
    with acting_for(cast.own.contractor.pk):
        hook_make(url="https://hooks.cast.example/in", events=["plan.issued"], by=cast.own.manager)
        token_for(TokenKind.FEED, "firm")
    file = tmp_path / "own.zip"
    firm_write(cast.own.contractor, file)
    firm_remove(cast.own.contractor)
    give_up(settings)
    call_command("import", str(file))
    with acting_for(cast.own.contractor.pk):
        assert token_for(TokenKind.FEED, "firm").can_be_shown
    (present,) = key_inventory()
    assert dict(present.counts) == {"hooks": 1, "links": 1}
