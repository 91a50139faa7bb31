from __future__ import annotations

import re
from typing import Any, Final

from django.db import connection, transaction
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from shared.ids import uuid7
from shared.models import Membership, Role
from tests.addresses import OPEN, TABLE, Address
from tests.isolation.world import TwoFirms
from tests.test_every_url import new_client

METHODS: Final = ("get", "post", "put", "patch", "delete", "head", "options")
ABSENT: Final = str(uuid7())
VARYING: Final = re.compile(r'(nonce|csrfmiddlewaretoken|csrf)[^>]{0,200}|"X-CSRFToken[^}]*}|[0-9a-f]{8}-[0-9a-f-]{27}')


def ask(client: Client, method: str, url: str, **headers: str) -> HttpResponse:
    """Undone afterwards."""
    with transaction.atomic():
        answer: HttpResponse = getattr(client, method)(url, headers=headers)
        transaction.set_rollback(True)
    return answer


def strangers(world: TwoFirms) -> dict[str, Membership | None]:
    return {"nobody": None, **{role: world.cast.other.members[role] for role in (*Role.values, "both")}}


def foreign(world: TwoFirms) -> list[tuple[str, Address, str]]:
    """Addresses that carry a row of ours."""
    return [
        (name, address, reverse(name, args=world.own[address.subject]))
        for name, address in TABLE.items()
        if address.roles is not OPEN and address.subject and world.own[address.subject] != world.other[address.subject]
    ]


def every_address(world: TwoFirms, report: Any) -> None:
    """Every address, every method, every role of the neighbour, with our ids."""
    before = world.our_rows()
    for who, member in strangers(world).items():
        client = new_client(member)
        for name, address in TABLE.items():
            if address.roles is OPEN:
                continue
            url = reverse(name, args=world.own[address.subject])
            of_a_row = world.own[address.subject] != world.other[address.subject]
            for method in METHODS:
                answer = ask(client, method, url)
                said = answer.content.decode(errors="replace").replace(url, "")
                seen = "" if who == "both" and not of_a_row else world.seen_in(said)  # both may switch to us
                entered = of_a_row and answer.status_code < 300 and method != "options"
                leak = f"{who} {method} {name} shows {seen}" if seen else f"{who} {method} {name} entered"
                report.tried("addresses", leak if seen or entered else "")
    if world.our_rows() != before:
        report.tried("addresses", "a row of ours changed")


def absent_and_foreign_are_the_same(world: TwoFirms, report: Any) -> None:
    client = new_client(world.cast.other.manager)
    for name, address, url in foreign(world):
        absent = reverse(name, args=(ABSENT, *world.own[address.subject][1:]))
        for method in ("get", "post"):
            theirs, none = ask(client, method, url), ask(client, method, absent)
            same = theirs.status_code == none.status_code and _plain(theirs, url) == _plain(none, absent)
            report.tried("texts of refusals", "" if same else f"{method} {name}: absent and foreign differ")


def _plain(answer: HttpResponse, url: str) -> str:
    return VARYING.sub("", answer.content.decode(errors="replace").replace(url, ""))


def as_many_queries_for_foreign_as_for_absent(world: TwoFirms, report: Any) -> None:
    """What the clock could tell: the same questions to the database, whether the row is absent or a neighbour's."""
    client = new_client(world.cast.other.manager)
    for name, address, url in foreign(world):
        absent = reverse(name, args=(ABSENT, *world.own[address.subject][1:]))
        counts = []
        for each in (url, absent):
            with CaptureQueriesContext(connection) as asked:
                ask(client, "post" if address.post_only else "get", each)
            counts.append(len(asked))
        report.tried("work of refusals", "" if counts[0] == counts[1] else f"{name}: {counts} queries")


def tags_of_a_neighbour(world: TwoFirms, report: Any) -> None:
    """A tag that we were given opens nothing and confirms nothing elsewhere."""
    owner, stranger = new_client(world.cast.own.manager), new_client(world.cast.other.manager)
    for name, address in TABLE.items():
        if not address.takes("get") or (address.roles is OPEN and not address.subject):
            continue
        ours = reverse(name, args=world.own[address.subject])
        tag = ask(owner, "get", ours).headers.get("ETag", '"none"')
        for url in (ours, reverse(name, args=world.other[address.subject])):
            if address.roles is OPEN and url == ours:
                continue  # whoever holds the secret may come in
            for header in ("If-None-Match", "If-Match"):
                answer = ask(stranger, "get", url, **{header: tag})
                if answer.status_code == 304 and ask(stranger, "get", url).headers.get("ETag") == tag:
                    continue  # their own, of the same content
                leak = f"{name} with {header} gave {answer.status_code}" if answer.status_code in (304, 412) else ""
                report.tried("tags", leak)


FORGED: Final = (
    {"X-Forwarded-Host": "evil.example"},
    {"X-Forwarded-For": "127.0.0.1"},
    {"X-Forwarded-Proto": "https"},
    {"X-Forwarded-Port": "1"},
    {"X-Forwarded-Prefix": "/evil.example"},
    {"X-Original-URL": "/firm/members/"},
    {"X-Rewrite-URL": "/firm/members/"},
    {"X-HTTP-Method-Override": "DELETE"},
    {"Forwarded": "host=evil.example;proto=https"},
    {"X-Real-IP": "127.0.0.1"},
    {"X-Contractor": "own"},
)


def forged_headers(world: TwoFirms, report: Any) -> None:
    """Headers that a proxy or a program would set do not move a request to another host, firm or person."""
    client = new_client(world.cast.other.manager)
    for name, _address, url in foreign(world):
        for headers in FORGED:
            answer = ask(client, "get", url, **{**headers, "X-Contractor": str(world.cast.own.contractor.pk)})
            said = answer.content.decode(errors="replace") + str(answer.headers.get("Location", ""))
            seen = world.seen_in(said.replace(url, ""))
            leak = f"{name} with {headers}: {seen}" if seen else ""
            report.tried("forged headers", leak or (f"{name} names evil.example" if "evil.example" in said else ""))
    for host in ("evil.example", "testserver.evil.example", "evil.example:80", "own@evil.example"):
        for url in ("/login/", "/", "/password/forgot/", "/api/v1/me"):
            with transaction.atomic():
                answer = Client(raise_request_exception=False).get(url, headers={"Host": host})
                transaction.set_rollback(True)
            report.tried("forged hosts", "" if answer.status_code in (400, 404) else f"{host} at {url} is answered")
