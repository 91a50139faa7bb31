"""Every address of the service, visited with real ids of our firm and of the neighbour's, by everybody.

The table says who may enter; the walker reads the addresses from the URL resolver. An address that the table does
not know, or whose ids the walker cannot fill, fails.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Final
from uuid import UUID

import pytest
from django.contrib.auth.tokens import default_token_generator
from django.db import transaction
from django.http import HttpResponse
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from jobs.models import Job, Outcome, Photo, WeatherFile
from scheduling.models import Absence, Hook, Mail, Plan, PlanRun, PlanState, Receiver, Stage, Stint
from shared import clock
from shared.ids import uuid7
from shared.models import AccessToken, Membership, Role, TokenKind
from shared.services.members import invitation_make
from shared.services.tokens import token_for, token_make, token_revoke
from shared.tenancy.context import acting_for
from tests.addresses import OPEN, TABLE, Address
from tests.cast import Cast, FirmCast, a_bit_of_everything, client_of, make_cast, open_job


@dataclass(frozen=True)
class World:
    """Both firms with a row of everything, and words that only pages of that firm may hold."""

    cast: Cast
    own: dict[str, tuple[str, ...]]
    other: dict[str, tuple[str, ...]]

    OWN_WORDS: Final = ("Basin of own", "Pool owner of own", "crew of own", "office of own", "Own Basin Works")


@pytest.fixture
def world(db: None) -> World:
    cast = make_cast()
    return World(cast, ids_of(cast.own), ids_of(cast.other))


def ids_of(firm: FirmCast) -> dict[str, tuple[str, ...]]:
    """The arguments of an address by the word of its subject."""
    job = a_bit_of_everything(firm)
    person = firm.office.person
    with acting_for(firm.contractor.pk):
        Job.objects.select_related("site").get(pk=job.pk)
        job.site.label = f"Basin of {firm.contractor.slug}"
        job.site.save()
        job.pool_owner.name = f"Pool owner of {firm.contractor.slug}"
        job.pool_owner.save()
        invitation = invitation_make("new@cast.example", Role.OFFICE, by=firm.manager)
        feed, link = token_for(TokenKind.FEED, "firm"), token_for(TokenKind.LINK, "pool_owner", job.pk)
        rows = {
            "job": job,
            "stint": Stint.objects.get(job=job, stage=Stage.PLASTER),
            "plan": Plan.objects.get(state=PlanState.ISSUED),
            "run": PlanRun.objects.get(),
            "crew": firm.crews["plaster"],
            "absence": Absence.objects.get(),
            "outcome": Outcome.objects.get(),
            "weather_file": WeatherFile.objects.get(),
            "member": firm.crew_lead,
            "invitation_row": invitation,
            "link_row": link,
            "api_token": token_make(TokenKind.API, "read", subject_id=firm.manager.pk),
            "photo": Photo.objects.get(),
            "mail": Mail.objects.get(),
            "receiver": Receiver.objects.get(),
            "hook": Hook.objects.get(),
        }
        wishes = token_for(TokenKind.LINK, "notices", rows["receiver"].pk).secret
    return {
        **{word: (str(row.pk),) for word, row in rows.items()},
        "feed": (feed.secret,),
        "link": (link.secret,),
        "wishes": (wishes,),
        "invitation": (invitation.secret,),
        "password": (str(person.pk), default_token_generator.make_token(person)),
        "": (),
    }


def addresses(resolver: URLResolver | None = None) -> Iterator[URLPattern]:
    """Every pattern of the resolver but those of the API; one without a name cannot be in the table."""
    for entry in (resolver or get_resolver()).url_patterns:
        if isinstance(entry, URLResolver) and entry.namespace == "api":
            continue  # tests/api/test_every_address.py holds their table
        if isinstance(entry, URLResolver):
            yield from addresses(entry)
        else:
            yield entry


def test_the_table_knows_every_address_and_no_other():
    names = [pattern.name or str(pattern.pattern) for pattern in addresses()]
    assert sorted(names) == sorted(TABLE), "an address is not in the table, or the table holds one that is gone"


@dataclass
class Walk:
    """Visits addresses, each attempt undone afterwards, and keeps what was not as the table says."""

    attempts: int = 0
    wrong: list[str] = field(default_factory=list)

    def visit(
        self,
        client: Client,
        name: str,
        ids: dict[str, tuple[str, ...]],
        expected: Callable[[Address, str], set[int]],
        *,
        who: str,
        unseen: tuple[str, ...] = (),
    ) -> None:
        address = TABLE[name]
        if address.subject not in ids:
            pytest.fail(f"{name}: nothing to fill in for “{address.subject}”")
        url = reverse(name, args=ids[address.subject])
        for method in ("get", "post"):
            answer = self.ask(client, method, url)
            wanted = {405} if not address.takes(method) else expected(address, method)
            if answer.status_code not in wanted:
                why = getattr(answer, "exc_info", None) or ("", "")
                self.wrong.append(f"{who}: {method} {name} gave {answer.status_code} {why[1]!r}, not {sorted(wanted)}")
            if answer.status_code == 302 and wanted == TO_LOGIN and not answer["Location"].startswith("/login/"):
                self.wrong.append(f"{who}: {method} {name} went to {answer['Location']}")
            said = answer.content.decode(errors="replace")
            self.wrong += [f"{who}: {method} {name} shows “{word}”" for word in unseen if word in said]

    def ask(self, client: Client, method: str, url: str, **headers: str) -> HttpResponse:
        self.attempts += 1
        cookies = client.cookies.copy()
        with transaction.atomic():
            answer = getattr(client, method)(url, headers=headers)
            transaction.set_rollback(True)
        client.cookies = cookies
        return answer


TO_LOGIN: Final = {302}


def entered(address: Address, method: str) -> set[int]:
    if method == "post" and address.bare_post:
        return {address.bare_post}
    return {200, 302} if method == "get" else {200, 302, 400, 422}


def new_client(member: Membership | None = None) -> Client:
    client = Client() if member is None else client_of(member)
    client.raise_request_exception = False
    return client


@pytest.fixture
def walk(record_property: Callable[[str, object], None]) -> Iterator[Walk]:
    found = Walk()
    yield found
    record_property("attempts", found.attempts)
    print(f"attempts: {found.attempts}")


@pytest.mark.parametrize("role", Role.values)
def test_a_member_enters_what_the_role_may_and_gets_403_elsewhere(world: World, walk: Walk, role: str):
    client = new_client(world.cast.own.members[role])

    def expected(address: Address, method: str) -> set[int]:
        return {403} if address.roles is not OPEN and role not in address.roles else entered(address, method)

    for name in TABLE:
        walk.visit(client, name, world.own, expected, who=role, unseen=("Basin of other", "crew of other"))
    assert "\n".join(walk.wrong) == ""


@pytest.mark.parametrize("role", [*Role.values, "both"])
def test_a_member_of_another_firm_finds_none_of_our_rows(world: World, walk: Walk, role: str):
    """“both” is a manager of either firm, logged in to the other one."""
    client = new_client(world.cast.other.members[role])
    mine = Role.MANAGER if role == "both" else role

    def expected(address: Address, method: str) -> set[int]:
        if address.roles is not OPEN and mine not in address.roles:
            return {403}
        return {404} if address.subject and address.roles is not OPEN else entered(address, method)

    for name, address in TABLE.items():
        by_secret = address.roles is OPEN and address.subject
        unseen = () if by_secret or role == "both" else World.OWN_WORDS
        walk.visit(client, name, world.own, expected, who=f"other {role}", unseen=unseen)
    assert "\n".join(walk.wrong) == ""


def test_nobody_is_sent_to_the_login(world: World, walk: Walk):
    client = new_client()

    def expected(address: Address, method: str) -> set[int]:
        return entered(address, method) if address.roles is OPEN else TO_LOGIN

    for name, address in TABLE.items():
        by_secret = address.roles is OPEN and address.subject
        walk.visit(client, name, world.own, expected, who="nobody", unseen=() if by_secret else World.OWN_WORDS)
    assert "\n".join(walk.wrong) == ""


def test_nobody_is_told_by_script_where_to_log_in(world: World, walk: Walk):
    client = new_client()
    for name, address in TABLE.items():
        if address.roles is OPEN:
            continue
        method = "post" if address.post_only else "get"
        url = reverse(name, args=world.own[address.subject])
        answer = walk.ask(client, method, url, hx_request="true")
        assert answer.status_code == 204, name
        assert answer["HX-Redirect"].startswith("/login/"), name


def test_a_manager_gets_fragments_or_pages_by_script(world: World, walk: Walk):
    client = new_client(world.cast.own.manager)
    for name, address in TABLE.items():
        url = reverse(name, args=world.own[address.subject])
        for method in ("get", "post"):
            answer = walk.ask(client, method, url, hx_request="true")
            if answer.status_code not in {405} | entered(address, method):
                walk.wrong.append(f"{method} {name} by script gave {answer.status_code}")
    assert "\n".join(walk.wrong) == ""


def test_an_absent_row_and_a_wrong_secret_are_404(world: World, walk: Walk):
    client = new_client(world.cast.own.manager)
    absent = {word: (str(uuid7()),) for word in world.own if word}
    absent |= {"feed": ("A" * 43,), "link": ("A" * 43,), "invitation": ("A" * 43,), "password": (str(uuid7()), "x-y")}
    for name, address in TABLE.items():
        if address.subject:
            walk.visit(client, name, absent, lambda *_: {404}, who="manager, absent row")
    assert "\n".join(walk.wrong) == ""


SECRETS: Final = ("feed", "link", "invitation")
KINDS: Final = {"feed": TokenKind.FEED, "link": TokenKind.LINK, "invitation": TokenKind.INVITATION}


def by_secret() -> list[str]:
    return [name for name, address in TABLE.items() if address.subject in SECRETS]


def test_a_secret_opens_only_what_it_was_made_for(world: World, walk: Walk):
    """Every kind of secret is tried at the addresses of the others: a feed is no page, a page no invitation."""
    client = new_client()
    for name in by_secret():
        kind = TABLE[name].subject
        for tried in SECRETS:
            ids = {kind: world.own[tried]}
            walk.visit(client, name, ids, entered if tried == kind else lambda *_: {404}, who=f"{tried} secret")
    assert "\n".join(walk.wrong) == ""


def test_the_secret_of_a_neighbour_shows_nothing_of_ours(world: World, walk: Walk):
    for member in (None, world.cast.own.office):
        client = new_client(member)
        for name in by_secret():
            walk.visit(
                client, name, world.other, entered, who="other's secret", unseen=("Basin of own", "owner of own")
            )
    assert "\n".join(walk.wrong) == ""


@pytest.mark.parametrize("how", ["revoked", "expired"])
def test_a_secret_that_ended_opens_nothing(world: World, walk: Walk, how: str):
    with acting_for(world.cast.own.contractor.pk):
        for kind in SECRETS:
            token = next(each for each in AccessToken.objects.all() if each.secret == world.own[kind][0])
            if how == "revoked":
                token_revoke(token)
            else:
                token.expires_at = clock.now()
                token.save()
    for member in (None, world.cast.own.manager):
        client = new_client(member)
        for name in by_secret():
            walk.visit(client, name, world.own, lambda *_: {404}, who=how)
    assert "\n".join(walk.wrong) == ""


def test_a_pool_owners_secret_shows_one_job_and_no_member(world: World, walk: Walk):
    """Another job of the same firm, crews, members and other pool owners stay unseen."""
    second = open_job(world.cast.own, label="Second basin of own")
    private = ("Second basin", "crew of own", "office of own", "manager of own", "@own.example")
    with acting_for(world.cast.own.contractor.pk):
        feed = token_for(TokenKind.FEED, "pool_owner", world_job(world))
        assert second.pk
    for name, secret in (("pool-owner", world.own["link"]), ("feed", (feed.secret,))):
        walk.visit(new_client(), name, {TABLE[name].subject: secret}, entered, who="pool owner", unseen=private)
    assert "\n".join(walk.wrong) == ""


def world_job(world: World) -> UUID:
    return UUID(world.own["job"][0])
