"""Every form and every address is given what nobody would type: no page breaks, nothing typed comes back as markup."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Final
from urllib.parse import urljoin, urlsplit

import pytest
from django.db import transaction
from django.urls import reverse

from tests.test_every_url import OPEN, TABLE, Walk, World, new_client, world

__all__ = ["world"]  # the fixture

MARKUP: Final = "<script>alert(1)</script>"
HOSTILE: Final = {
    "a NUL": "a\x00b",
    "a digit that is none": "²",
    "an endless number": "1e999",
    "a very long text": "9" * 5000,
    "markup": f'"{MARKUP}',
    "no number": "nan",
    "a minus": "-1",
    "half a quotation": "'; --",
    "a lone surrogate": "%ED%A0%80",
}
QUERY: Final = (
    "q", "to", "crew", "branch", "zoom", "by", "view", "page", "sort", "state", "day", "date", "next", "kind", "what",
)  # fmt: skip


@dataclass
class Form:
    action: str
    names: set[str] = field(default_factory=set)
    method: str = "get"


class Forms(HTMLParser):
    """The forms of a page with the names of their fields."""

    def __init__(self, address: str) -> None:
        super().__init__()
        self.address, self.found, self.open = address, [], None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        kept = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.open = Form(
                urljoin(self.address, kept.get("action") or self.address), method=kept.get("method", "get")
            )
            self.found.append(self.open)
        elif self.open is not None and kept.get("name"):
            self.open.names.add(kept["name"])

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self.open = None


def forms_of(walk: Walk, client, world: World) -> Iterator[Form]:
    """Every form that posts, once: of all pages that a manager may open."""
    seen: set[tuple[str, frozenset[str]]] = set()
    for name, address in TABLE.items():
        if not address.takes("get"):
            continue
        url = reverse(name, args=world.own[address.subject])
        answer = walk.ask(client, "get", url)
        if "html" not in answer.get("Content-Type", ""):
            continue
        reader = Forms(url)
        reader.feed(answer.content.decode())
        for form in reader.found:
            key = (form.action, frozenset(form.names))
            if form.method.lower() == "post" and key not in seen:
                seen.add(key)
                yield form


@pytest.fixture
def walk(record_property: Callable[[str, object], None]) -> Iterator[Walk]:
    found = Walk()
    yield found
    record_property("attempts", found.attempts)
    print(f"attempts: {found.attempts}")


def test_no_form_breaks_on_what_nobody_would_type(world: World, walk: Walk):
    client = new_client(world.cast.own.manager)
    posted = list(forms_of(walk, client, world))
    assert len({urlsplit(form.action).path for form in posted}) >= 15
    for form in posted:
        if urlsplit(form.action).path == reverse("logout"):
            continue
        for what, value in HOSTILE.items():
            data = dict.fromkeys(form.names - {"csrfmiddlewaretoken"}, value)
            walk.attempts += 1
            with transaction.atomic():
                answer = client.post(form.action, data)
                transaction.set_rollback(True)
            if answer.status_code >= 500:
                why = getattr(answer, "exc_info", None) or ("", "")
                walk.wrong.append(f"{form.action} with {what} gave {answer.status_code} {why[1]!r:.200}")
            elif MARKUP.encode() in answer.content:
                walk.wrong.append(f"{form.action} gives markup back")
    assert "\n".join(walk.wrong) == ""


@pytest.mark.parametrize("what", HOSTILE)
def test_no_address_breaks_on_a_question_that_nobody_would_ask(world: World, walk: Walk, what: str):
    client = new_client(world.cast.own.manager)
    for name, address in TABLE.items():
        if not address.takes("get") or (address.roles is OPEN and not address.subject):
            continue
        walk.attempts += 1
        url = reverse(name, args=world.own[address.subject])
        with transaction.atomic():
            answer = client.get(url, dict.fromkeys(QUERY, HOSTILE[what]))
            transaction.set_rollback(True)
        if answer.status_code >= 500:
            why = getattr(answer, "exc_info", None) or ("", "")
            walk.wrong.append(f"{name} with {what} gave {answer.status_code} {why[1]!r:.200}")
        elif MARKUP.encode() in answer.content:
            walk.wrong.append(f"{name} gives markup back")
    assert "\n".join(walk.wrong) == ""
