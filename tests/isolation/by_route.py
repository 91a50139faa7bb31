"""Every address that the resolver knows, with ids of ours of every sort: what was added today is attacked today.

No table is asked who may do what: whichever id stands where, nobody of the neighbour's may get anything of ours.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from typing import Any, Final

from django.db import transaction
from django.http import HttpResponse
from django.test import Client
from django.urls import NoReverseMatch, URLPattern, URLResolver, get_resolver, reverse
from django.urls.converters import IntConverter, UUIDConverter

from tests.api.caller import Caller, caller_of
from tests.isolation.world import TwoFirms
from tests.test_every_url import new_client

SECRETS: Final = ("secret", "token", "uid")  # whoever holds one may come in; ids in their place are tried all the same
WORDS: Final = ("moved", "en", "feel_grit", "own")
FORGED: Final = (
    {"Host": "evil.example"},
    {"X-Forwarded-Host": "evil.example"},
    {"X-Forwarded-For": "127.0.0.1"},
    {"X-Forwarded-Proto": "https"},
    {"X-Original-URL": "/api/v1/members"},
    {"X-HTTP-Method-Override": "DELETE"},
    {"Forwarded": "host=evil.example;proto=https"},
    {"Authorization": "Bearer own"},
    {"X-Person": "own"},
    {"X-Contractor": "own"},
)
ASKED: Final = ("include", "expand", "fields", "ordering", "order_by", "sort", "contractor", "contractor_id", "format")


def routes() -> Iterator[tuple[str, dict[str, Any]]]:
    """Each name with its converters; those of the API begin with its name space."""
    yield from _routes(get_resolver(), "", {})


def _routes(resolver: URLResolver, space: str, above: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for entry in resolver.url_patterns:
        converters = {**above, **entry.pattern.converters}
        if isinstance(entry, URLResolver):
            yield from _routes(entry, f"{entry.namespace}:" if entry.namespace else space, converters)
        elif isinstance(entry, URLPattern) and entry.name:
            yield f"{space}{entry.name}", converters


def filled(name: str, converters: dict[str, Any], pk: str) -> str | None:
    """The address with this id wherever one is taken; None where the words that it takes are not known here."""
    values: dict[str, Any] = {}
    for word, converter in converters.items():
        if isinstance(converter, UUIDConverter):
            values[word] = uuid.UUID(pk)
        elif isinstance(converter, IntConverter):
            values[word] = 1
        else:
            values[word] = pk if word in SECRETS else None
    for words in (WORDS, WORDS[1:], WORDS[2:], WORDS[3:]):
        left = iter(words)
        try:
            return reverse(
                name, kwargs={key: next(left, "x") if value is None else value for key, value in values.items()}
            )
        except NoReverseMatch:
            continue
    return None


def every_route_with_every_id(world: TwoFirms, report: Any) -> None:
    """Read and posted by the neighbour's manager, with one id of ours from every table."""
    client, caller = new_client(world.cast.other.manager), caller_of(world.cast.other.manager)
    ids = sorted({rows[0] for rows in world.our_ids.values() if rows})
    before = world.our_rows()
    for number, (name, converters) in enumerate(routes()):
        for pk in ids[number % report.stride :: report.stride] if converters else ids[:1]:
            url = filled(name, converters, pk)
            if url is None:
                report.tried("every route", f"{name}: its address cannot be made here")
                break
            for method in ("get", "post"):
                answer = _asked(client, caller, method, url)
                seen = world.seen_in(body_of(answer).replace(url, "").replace(pk, ""))
                report.tried("every route", f"{method} {name} with {pk} shows {seen}" if seen else "")
                if answer.status_code < 300 and pk in body_of(answer).replace(url, ""):
                    report.tried("every route", f"{method} {name} with {pk} gave {answer.status_code}", times=0)
    if world.our_rows() != before:
        report.tried("every route", "a row of ours changed")


def _asked(client: Client, caller: Caller, method: str, url: str, **headers: str) -> HttpResponse:
    """Undone afterwards."""
    with transaction.atomic():
        if url.startswith("/api/"):
            answer = caller.ask(method, url, None if method == "get" else {}, **{"If-Match": "*", **headers})
        else:
            answer = getattr(client, method)(url, headers=headers)
        transaction.set_rollback(True)
    return answer


def body_of(answer: HttpResponse) -> str:
    streamed = getattr(answer, "streaming_content", None)
    return (answer.content if streamed is None else b"".join(streamed)).decode(errors="replace")


def absent_and_foreign_are_the_same_to_programs(world: TwoFirms, report: Any) -> None:
    """Status, words and headers of a refusal by the API do not tell a neighbour's row from none."""
    caller = caller_of(world.cast.other.manager)
    absent = str(uuid.UUID(int=0x0190 << 112 | 7 << 76 | 2 << 62 | 5))
    ids = {name: world.own[word][0] for name, word in _subjects().items() if world.own.get(word)}
    for name, converters in routes():
        if not name.startswith("api:") or name not in ids:
            continue
        urls = [filled(name, converters, pk) for pk in (ids[name], absent)]
        for method in ("get", "post", "put", "patch", "delete"):
            told = []
            for url, pk in zip(urls, (ids[name], absent), strict=True):
                answer = _asked(new_client(), caller, method, str(url))
                headers = {key: value for key, value in answer.headers.items() if key.lower() not in VARYING}
                told.append((answer.status_code, body_of(answer).replace(pk, "*"), headers))
            same = told[0] == told[1]
            report.tried("API texts of refusals", "" if same else f"{method} {name}: {told[0]} and {told[1]}")


VARYING: Final = ("content-security-policy", "x-request-id", "set-cookie")  # new in every answer


def _subjects() -> dict[str, str]:
    from tests.api.test_every_address import TABLE  # noqa: PLC0415  that module asks for a database as it is read

    return {f"api:{name}": address.subject for name, address in TABLE.items() if address.subject}


def forged_headers_to_programs(world: TwoFirms, report: Any) -> None:
    """What a proxy would say does not move a program's request to another firm, person or host."""
    caller = caller_of(world.cast.other.manager)
    ours = {"X-Contractor": str(world.cast.own.contractor.pk), "X-Person": str(world.cast.own.manager.person_id)}
    for number, (name, converters) in enumerate(routes()):
        if not name.startswith("api:"):
            continue
        pk = world.own[_subjects()[name]][0] if name in _subjects() else world.own["job"][0]
        url = filled(name, converters, pk)
        for headers in FORGED[number % report.stride :: report.stride]:
            sent = {key: ours.get(key, value) for key, value in headers.items()}
            answer = _asked(new_client(), caller, "get", str(url), **sent)
            said = body_of(answer) + str(answer.headers.get("Location", ""))
            seen = world.seen_in(said.replace(str(url), "").replace(pk, ""))
            leak = f"{name} with {headers} shows {seen}" if seen else ""
            report.tried("API forged headers", leak or (f"{name} names evil.example" if "evil.example" in said else ""))


def words_nobody_asked_for(world: TwoFirms, report: Any) -> None:
    """Includes, orders and the like that other programs know: refused or ignored, never another firm's rows."""
    caller = caller_of(world.cast.other.manager)
    values = ("contractor__jobs", "*", str(world.cast.own.contractor.pk))
    lists = [name for name, converters in routes() if name.startswith("api:") and not converters]
    for number, name in enumerate(lists):
        for asked in ASKED[number % report.stride :: report.stride]:
            for value in values:
                answer = _asked(new_client(), caller, "get", f"{reverse(name)}?{asked}={value}")
                seen = world.seen_in(body_of(answer).replace(value, ""))
                report.tried("includes and orders", f"{name}?{asked}={value} shows {seen}" if seen else "")
