"""Every address of the API, by everybody: who may read and change, and that nobody sees a neighbour.

As tests/test_every_url.py does for the screens. An address that the table does not know fails.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import pytest
from django.db import transaction
from django.http import HttpResponse
from django.urls import URLPattern, get_resolver, reverse

from jobs.models import Job, Survey
from shared.ids import uuid7
from shared.models import Role
from shared.tenancy.context import acting_for
from tests.api.caller import Caller, caller_of
from tests.test_every_url import World, ids_of, make_cast

EVERYBODY: Final = tuple(Role.values)
OFFICE: Final = (Role.OFFICE, Role.MANAGER)
MANAGER: Final = (Role.MANAGER,)
METHODS: Final = ("get", "post", "put", "patch", "delete")
ABSENT: Final = str(uuid7())


@dataclass(frozen=True)
class Address:
    """Whose id stands in it, and the roles of each method it takes; *fixed* are words in it that are nobody's id."""

    subject: str = ""
    get: tuple[str, ...] | None = None
    post: tuple[str, ...] | None = None
    put: tuple[str, ...] | None = None
    patch: tuple[str, ...] | None = None
    delete: tuple[str, ...] | None = None
    fixed: tuple[str, ...] = ()

    def roles(self, method: str) -> tuple[str, ...] | None:
        found: tuple[str, ...] | None = getattr(self, method)
        return found


TABLE: Final[dict[str, Address]] = {
    "me": Address(get=EVERYBODY, patch=EVERYBODY),
    "my-wishes": Address(get=EVERYBODY, put=EVERYBODY),
    "tokens": Address(get=EVERYBODY),
    "token": Address("api_token", get=EVERYBODY, delete=EVERYBODY),
    "members": Address(get=MANAGER),
    "member": Address("member", get=MANAGER, patch=MANAGER),
    "invitations": Address(get=MANAGER, post=MANAGER),
    "invitation": Address("invitation_row", get=MANAGER, delete=MANAGER),
    "audit": Address(get=MANAGER),
    "jobs": Address(get=OFFICE, post=OFFICE),
    "job": Address("job", get=OFFICE, patch=OFFICE),
    "job-surveys": Address("job", post=OFFICE),
    "job-scope": Address("job", get=OFFICE, post=OFFICE),
    "job-scopes": Address("job", get=OFFICE),
    "job-scope-proposed": Address("job", get=OFFICE),
    "job-scope-tried": Address("job", get=OFFICE),
    "job-photos": Address("job", post=OFFICE),
    "job-water-loss": Address("job", post=OFFICE),
    "job-offers": Address("job", get=OFFICE),
    "job-date-plans": Address("job", get=OFFICE),
    "job-other-outcome": Address("job", get=OFFICE),
    "job-rung": Address("job", post=OFFICE),
    "job-plaster-day": Address("job", get=EVERYBODY),
    "job-fill": Address("job", get=EVERYBODY),
    "job-start-up": Address("job", get=EVERYBODY),
    "job-acid-start-up": Address("job", post=OFFICE),
    "job-quantities": Address("job", get=OFFICE),
    "job-dates": Address("job", get=OFFICE),
    "job-water-tests": Address("job", post=EVERYBODY),
    "job-additions": Address("job", post=EVERYBODY),
    "job-start-up-method": Address("job", put=EVERYBODY),
    "job-logs": Address("job", post=EVERYBODY),
    "job-full": Address("job", post=EVERYBODY),
    "job-groundwater": Address("job", post=OFFICE),
    "job-promise": Address("job", post=OFFICE),
    "job-call-off": Address("job", post=OFFICE),
    "sites": Address(get=EVERYBODY),
    "site": Address("site", get=EVERYBODY),
    "pools": Address(get=EVERYBODY),
    "pool": Address("pool", get=EVERYBODY, put=OFFICE),
    "pool-tried": Address(post=OFFICE),
    "pool-owners": Address(get=OFFICE),
    "pool-owner": Address("pool_owner", get=OFFICE),
    "pool-owner-erasure": Address("pool_owner", get=MANAGER, post=MANAGER),
    "photos": Address(get=EVERYBODY),
    "photo": Address("photo", get=EVERYBODY, delete=OFFICE),
    "photo-file": Address("photo", get=EVERYBODY),
    "photo-small": Address("photo", get=EVERYBODY),
    "surveys": Address(get=OFFICE),
    "survey": Address("survey", get=OFFICE),
    "observation": Address("observation", put=OFFICE),
    "water-tests": Address(get=EVERYBODY),
    "additions": Address(get=EVERYBODY),
    "logs": Address(get=EVERYBODY),
    "stints": Address(get=EVERYBODY),
    "stint": Address("stint", get=EVERYBODY),
    "stint-why": Address("stint", get=OFFICE),
    "stint-others": Address("stint", get=OFFICE),
    "stint-move": Address("stint", post=OFFICE),
    "stint-keep": Address("stint", put=OFFICE),
    "stint-mark": Address("stint", post=OFFICE),
    "stint-done": Address("stint", post=EVERYBODY),
    "plans": Address(get=OFFICE),
    "plan": Address("plan", get=OFFICE),
    "plan-changes": Address("plan", get=OFFICE),
    "plan-chances": Address("plan", get=OFFICE),
    "plan-issue": Address("plan", post=OFFICE),
    "plan-issue-some": Address("plan", post=OFFICE),
    "plan-set-aside": Address("plan", post=OFFICE),
    "mails": Address(get=OFFICE),
    "mail": Address("mail", get=OFFICE),
    "mail-again": Address("mail", post=OFFICE),
    "receivers": Address(get=OFFICE),
    "receiver": Address("receiver", get=OFFICE, put=OFFICE),
    "receiver-again": Address("receiver", post=OFFICE),
    "notice-words": Address(get=OFFICE),
    "notice-text": Address(get=OFFICE, put=MANAGER, delete=MANAGER, fixed=("moved", "en")),
    "notice-text-tried": Address(post=OFFICE, fixed=("moved", "en")),
    "notices": Address(get=OFFICE),
    "hooks": Address(get=MANAGER, post=MANAGER),
    "hook": Address("hook", get=MANAGER, delete=MANAGER),
    "hook-secret": Address("hook", post=MANAGER),
    "hook-calls": Address("hook", get=MANAGER),
    "hook-test": Address("hook", post=MANAGER),
    "runs": Address(get=OFFICE, post=OFFICE),
    "run": Address("run", get=OFFICE),
    "run-stop": Address("run", post=OFFICE),
    "decisions": Address(get=OFFICE),
    "weather-again": Address(post=OFFICE),
    "crews": Address(get=OFFICE, post=MANAGER),
    "crew": Address("crew", get=OFFICE, put=MANAGER),
    "crew-absences": Address("crew", post=OFFICE),
    "absences": Address(get=OFFICE),
    "absence": Address("absence", get=OFFICE, delete=OFFICE),
    "weather": Address(get=OFFICE),
    "weather-source": Address(put=MANAGER),
    "weather-files": Address(get=OFFICE, post=MANAGER),
    "weather-file": Address("weather_file", get=OFFICE, delete=MANAGER),
    "likelihoods": Address(get=MANAGER, delete=MANAGER),
    "likelihood": Address(get=MANAGER, put=MANAGER, delete=MANAGER, fixed=("feel_grit",)),
    "today": Address(get=EVERYBODY),
    "week": Address(get=EVERYBODY),
    "own-work": Address(get=OFFICE),
    "own-work-resets": Address(get=OFFICE, post=OFFICE),
    "outcomes": Address(get=OFFICE),
    "outcome": Address("outcome", get=OFFICE),
    "outcome-counts": Address("outcome", put=OFFICE),
    "firm": Address(get=OFFICE, patch=MANAGER),
    "firm-limits": Address(put=MANAGER),
    "firm-rates": Address(put=MANAGER),
    "firm-words": Address(get=MANAGER, put=MANAGER),
    "first-month": Address(get=MANAGER, put=MANAGER),
    "link-alarm": Address("link_row", put=OFFICE),
    "links": Address(get=OFFICE, post=OFFICE),
    "link": Address("link_row", get=OFFICE, delete=OFFICE),
    "link-rotate": Address("link_row", post=OFFICE),
}
WITHOUT_TOKEN: Final = {"schema", "nothing"}
# What a right member gets without a body, without a tag, or of a row that is in another state.
ENTERED: Final = {200, 201, 202, 204, 400, 404, 409, 415, 428}


@pytest.fixture
def world(db: None) -> World:
    cast = make_cast()
    found = World(cast, ids_of(cast.own), ids_of(cast.other))
    for firm, ids in ((cast.own, found.own), (cast.other, found.other)):
        with acting_for(firm.contractor.pk):
            job = Job.objects.get(pk=ids["job"][0])
            survey = Survey.objects.filter(pool=job.pool_id).latest("taken_at")
            ids |= {"site": (str(job.site_id),), "pool": (str(job.pool_id),), "survey": (str(survey.pk),)}
            ids["observation"] = (str(survey.pk), "feel_grit")
            ids["pool_owner"] = (str(job.pool_owner_id),)
    return found


def api_addresses() -> Iterator[URLPattern]:
    resolver = next(entry for entry in get_resolver().url_patterns if getattr(entry, "namespace", "") == "api")
    yield from resolver.url_patterns


def test_the_table_knows_every_address_and_no_other():
    assert sorted(pattern.name for pattern in api_addresses()) == sorted({*TABLE, *WITHOUT_TOKEN})


def ask(caller: Caller, method: str, name: str, ids: dict[str, tuple[str, ...]]) -> HttpResponse:
    """Undone afterwards. An empty body and any tag, so that what counts is who asks."""
    with transaction.atomic():
        url = reverse(f"api:{name}", args=[*ids[TABLE[name].subject], *TABLE[name].fixed])
        answer = caller.ask(method, url, None if method == "get" else {}, If_Match="*")
        transaction.set_rollback(True)
    return answer


@dataclass
class Walk:
    attempts: int = 0

    def all(self, caller: Caller, ids: dict[str, tuple[str, ...]]) -> Iterator[tuple[str, str, HttpResponse]]:
        for name in TABLE:
            for method in METHODS:
                self.attempts += 1
                yield name, method, ask(caller, method, name, ids)


@pytest.fixture
def walk() -> Iterator[Walk]:
    found = Walk()
    yield found
    print(f"attempts: {found.attempts}")


@pytest.mark.parametrize("role", Role.values)
def test_a_member_does_what_the_role_may_and_gets_403_elsewhere(world: World, walk: Walk, role: str):
    wrong = []
    for name, method, answer in walk.all(caller_of(world.cast.own.members[role]), world.own):
        roles = TABLE[name].roles(method)
        wanted = {405} if roles is None else ENTERED if role in roles else {403}
        if answer.status_code not in wanted:
            wrong.append(f"{role}: {method} {name} gave {answer.status_code}: {answer.content[:200]!r}")
    assert "\n".join(wrong) == ""


@pytest.mark.parametrize("scope", ["read", "log", "office"])
def test_a_managers_token_of_less_scope_changes_less(world: World, walk: Walk, scope: str):
    most = {"read": (), "log": (EVERYBODY,), "office": (EVERYBODY, OFFICE)}[scope]
    wrong = []
    for name, method, answer in walk.all(caller_of(world.cast.own.manager, scope), world.own):
        roles = TABLE[name].roles(method)
        may = roles is not None and (method == "get" or roles in most)
        if roles is not None and (answer.status_code == 403) == may:
            wrong.append(f"{scope}: {method} {name} gave {answer.status_code}")
    assert "\n".join(wrong) == ""


@pytest.mark.parametrize("role", [*Role.values, "both"])
def test_a_token_of_another_firm_finds_none_of_our_rows(world: World, walk: Walk, role: str):
    mine = Role.MANAGER if role == "both" else role
    wrong = []
    for name, method, answer in walk.all(caller_of(world.cast.other.members[role], _most(mine)), world.own):
        roles, subject = TABLE[name].roles(method), TABLE[name].subject
        wanted = {405} if roles is None else {403} if mine not in roles else {404} if subject else ENTERED
        if answer.status_code not in wanted:
            wrong.append(f"other {role}: {method} {name} gave {answer.status_code}")
        said = answer.content.decode()
        wrong += [f"other {role}: {method} {name} shows “{word}”" for word in World.OWN_WORDS if word in said]
    assert "\n".join(wrong) == ""


def _most(role: str) -> str:
    return {"crew_lead": "log", "office": "office", "manager": "manage"}[role]


def test_nobody_is_let_in(world: World, walk: Walk):
    for name, method, answer in walk.all(Caller(""), world.own):
        assert answer.status_code == 401, (method, name)


def test_absent_and_foreign_rows_are_told_apart_by_nothing(world: World):
    caller = caller_of(world.cast.other.manager)
    for name, address in TABLE.items():
        if not address.subject:
            continue
        absent = {address.subject: (ABSENT, *world.own[address.subject][1:])}
        for method in METHODS:
            theirs, none = ask(caller, method, name, world.own), ask(caller, method, name, absent)
            assert (theirs.status_code, theirs.content) == (none.status_code, none.content), (method, name)
            assert "ETag" not in theirs.headers


@pytest.mark.parametrize("kind", ["feed", "link", "invitation"])
def test_other_secrets_are_no_tokens(world: World, kind: str):
    assert Caller(world.own[kind][0]).get("/me").status_code == 401
