"""Every form and every address is given what nobody would type: no page breaks, nothing typed comes back as markup."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Final
from urllib.parse import urljoin, urlsplit

import pytest
from django.apps import apps
from django.db import connection, transaction
from django.urls import reverse

from shared.tenancy.context import acting_for
from shared.tenancy.models import TenantForeignKey, TenantModel
from tests.addresses import OPEN, TABLE
from tests.test_every_url import Walk, World, new_client, world

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
IS_ID: Final = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
QUERY: Final = (
    "q", "to", "crew", "branch", "zoom", "by", "view", "page", "sort", "state", "day", "date", "next", "kind", "what",
)  # fmt: skip


@dataclass
class Form:
    """A form as the browser would send it: its address, method and the fields as they stand."""

    action: str
    method: str = "get"
    fields: dict[str, str] = field(default_factory=dict)
    offered: dict[str, list[str]] = field(default_factory=dict)


class Forms(HTMLParser):
    """The forms of a page."""

    def __init__(self, address: str) -> None:
        super().__init__()
        self.address = address
        self.found: list[Form] = []
        self.open: Form | None = None
        self.select = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        kept = {name: value or "" for name, value in attrs}
        if tag == "form":
            action = urljoin(self.address, kept.get("action") or self.address)
            self.open = Form(action, kept.get("method", "get").lower())
            self.found.append(self.open)
        elif self.open is None:
            return
        elif tag == "option" and self.select:
            self.open.offered.setdefault(self.select, []).append(kept.get("value", ""))
            if "selected" in kept:
                self.open.fields[self.select] = kept.get("value", "")
        elif kept.get("name"):
            self.select = kept["name"] if tag == "select" else ""
            unticked = kept.get("type") in ("checkbox", "radio") and "checked" not in kept
            if not unticked or kept["name"] not in self.open.fields:
                self.open.fields[kept["name"]] = kept.get("value", "")

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
            key = (form.action, frozenset(form.fields))
            if form.method == "post" and key not in seen and urlsplit(form.action).path != reverse("logout"):
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
        for what, value in HOSTILE.items():
            data = dict.fromkeys(form.fields, value)
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


def test_no_form_takes_a_row_of_a_neighbour(world: World, walk: Walk):
    """Wherever a form sends an id, it is sent the ids of another firm; the keys of the database are asked at once."""
    client = new_client(world.cast.own.manager)
    foreign = {ids[0] for word, ids in world.other.items() if word and IS_ID.fullmatch(ids[0])}
    assert len(foreign) >= 8
    sent = set()
    for form in forms_of(walk, client, world):
        carried = {name: [value, *form.offered.get(name, [])] for name, value in form.fields.items()}
        for name in [name for name, values in carried.items() if any(IS_ID.fullmatch(value) for value in values)]:
            for theirs in sorted(foreign):
                walk.attempts += 1
                sent.add((urlsplit(form.action).path, name))
                with transaction.atomic():
                    answer = client.post(form.action, {**form.fields, name: theirs})
                    with acting_for(world.cast.own.contractor.pk):
                        taken = holds(theirs)
                    if taken:
                        walk.wrong.append(f"{form.action} keeps {name}={theirs} (answer {answer.status_code})")
                    transaction.set_rollback(True)
                if answer.status_code >= 500:
                    why = getattr(answer, "exc_info", None) or ("", "")
                    walk.wrong.append(f"{form.action} with {name} of a neighbour gave 500 {why[1]!r:.200}")
    assert len(sent) >= 3
    assert "\n".join(walk.wrong) == ""


def holds(theirs: str) -> bool:
    """Whether any row of the active firm points at this row of the neighbour."""
    for model in apps.get_models():
        if not issubclass(model, TenantModel):
            continue
        for column in model._meta.local_fields:
            if isinstance(column, TenantForeignKey) or column.name in ("subject_id", "stint_id", "crew_id"):
                with connection.cursor() as cursor:
                    cursor.execute(f'SELECT 1 FROM "{model._meta.db_table}" WHERE "{column.column}" = %s', [theirs])
                    if cursor.fetchone():
                        return True
    return False
